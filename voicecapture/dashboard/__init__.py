"""The screen in the shed: the only import of textual."""

from voicecapture.dashboard.app import Dashboard
from voicecapture.dashboard.shed import Shed

__all__ = ["Dashboard", "Shed"]
