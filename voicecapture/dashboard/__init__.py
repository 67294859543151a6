"""The screen in the shed: the only import of textual."""
