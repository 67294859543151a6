"""The demo morning: sixty cows of Alder Bank, an invented herd, in a recording that is shipped."""

from datetime import date
from pathlib import Path

_SHIPPED = Path(__file__).parent / "demo_morning"
_CHECKED_OUT = Path(__file__).parents[1] / "audio_fixtures" / "demo"
_FOLDER = _SHIPPED if _SHIPPED.is_dir() else _CHECKED_OUT

RECORDING = _FOLDER / "morning.ogg"
SCRIPT = _FOLDER / "morning.jsonl"
"""What was said when, and what it meant."""
HERD = _FOLDER / "alder_bank.csv"
SCANNED_ON = date(2027, 2, 9)
"""The invented date of the morning."""
