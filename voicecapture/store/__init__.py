"""The record: SQLite files of scan days and seasons, with the sound of every utterance beside them.

The only import of sqlite_utils.
"""
