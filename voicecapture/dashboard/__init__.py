"""The screen in the shed: the only import of textual."""

from voicecapture.dashboard.app import Dashboard

__all__ = ["Dashboard"]
