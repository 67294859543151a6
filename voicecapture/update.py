"""What the session tells a screen."""

from dataclasses import dataclass

from voicecapture.day import Day
from voicecapture.decision import Decision


@dataclass(frozen=True, slots=True)
class Update:
    """The day as it stands, after an utterance, a typed line or a little later sound."""

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
    words: str = ""
    """Words so far of what is being said; never kept."""
    voice_dbfs: float | None = None
    """Level of the last utterance, dB relative to full scale; None before the first."""
    snr_db: float | None = None
    """Estimated signal-to-noise ratio of the last utterance; None before the first."""
    is_clipped: bool = False
    """The microphone was overdriven within the last seconds."""
    has_gap: bool = False
    """Sound was lost within the last seconds."""
    gaps: int = 0
    """How often sound was lost so far."""
    is_narrow: bool = False
    """The last utterance came through a line of 8 kHz."""
    is_arriving: bool = True
    """Sound arrives."""
    alerts: tuple[str, ...] = ()
    """What speaks against the entry that was just decided on."""
    troubles: tuple[str, ...] = ()
    """What is the matter with microphone, read-back and disk now."""
