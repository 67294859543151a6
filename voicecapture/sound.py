"""How the sound is, in words and as a bar, for a screen. Pure."""

from voicecapture.bars import TOO_LOUD, DecisionSettings
from voicecapture.update import Update

METER_DBFS = (-60.0, 0.0)
"""Lower and upper end of the level meter."""
_QUIET_DBFS = -50.0
"""A voice below this is nearer to the noise of the converter than to full scale."""
_SILENT_DBFS = -90.0
"""No room is as quiet: one step of a 16-bit converter."""
_EASY_DB = 6.0
"""So far above the bar of trust the voice is clearly the loudest thing in the shed."""

_NOISE_RISE_DB, _NOISE_FALL_DB = 0.02, 0.5
"""How fast the shown noise level follows upwards and downwards, per chunk of 32 ms."""


def noise_after(noise_dbfs: float, level_dbfs: float) -> float:
    """The running noise level after one more chunk: it keeps to the quiet between the words."""
    return noise_dbfs + (_NOISE_RISE_DB if level_dbfs > noise_dbfs else -_NOISE_FALL_DB)


def meter(level_dbfs: float, cells: int) -> str:
    """A level as a bar of `cells` characters."""
    low, high = METER_DBFS
    filled = round(cells * min(1.0, max(0.0, (level_dbfs - low) / (high - low))))
    return "■" * filled + "·" * (cells - filled)


def level_words(update: Update) -> str:
    """What to do about the microphone; empty if nothing."""
    if update.has_gap:
        return f"sound was lost {update.gaps} times" if update.gaps > 1 else "some sound was lost"
    if update.is_clipped:
        return "overdriven: move away"
    if update.noise_dbfs < _SILENT_DBFS:
        return "silent: is it on?"
    if update.voice_dbfs is not None and update.voice_dbfs < _QUIET_DBFS:
        return "too quiet: move nearer"
    return "telephone sound" if update.is_narrow else ""


def trust_words(snr_db: float | None, bars: DecisionSettings) -> str:
    """What the shed's noise leaves of the voice; by the same bar by which entries are asked about."""
    if snr_db is None:
        return "not judged yet"
    if snr_db < bars.least_snr_db:
        return TOO_LOUD
    return "loud, speak up" if snr_db < bars.least_snr_db + _EASY_DB else "good"


def listening_words(update: Update) -> str:
    """Whether anything is listened to."""
    if not update.is_arriving:
        return "not listening: no sound"
    if update.day.is_stopped:
        return "not listening: told to stop"
    return "hearing a voice" if update.is_speech else "listening"
