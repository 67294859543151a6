"""Hears a vet call pregnancy-scan results in a milking shed and keeps the record."""

from importlib.metadata import version

__version__ = version("voicecapture")
