"""Synthetic speech and milking-shed noise, for the recordings in `audio_fixtures/` and for the bench.

`shed` needs numpy and scipy only. `voices` and everything that speaks need further packages, named in
`fixtures`; the program itself never imports them.
"""
