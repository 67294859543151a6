"""What the session tells a screen."""

from dataclasses import dataclass

from voicecapture.day import Day
from voicecapture.decision import Decision


@dataclass(frozen=True, slots=True)
class Update:
    """The day as it stands, after an utterance or a little later sound."""

    day: Day
    decision: Decision | None
    """What was just decided; None when only time and level moved on."""
    now_s: float
    """On the audio clock, seconds."""
    level_dbfs: float
    noise_dbfs: float
    """Running level of the shed between the words, dB relative to full scale."""
    is_speech: bool
    said: str
    """What was read back."""
