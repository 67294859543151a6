"""A day or a season in open formats, chosen by the ending of the file's name."""

from collections.abc import Callable
from pathlib import Path

from voicecapture.errors import RecordError
from voicecapture.exports.ade import ade_json
from voicecapture.exports.calendar_file import calendar_bytes
from voicecapture.exports.csv_file import csv_bytes
from voicecapture.exports.xlsx import xlsx_bytes
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.whole_file import write_whole

_FORMATS: dict[str, Callable[[Season, ReckoningSettings], tuple[bytes, int]]] = {
    ".csv": csv_bytes,
    ".xlsx": xlsx_bytes,
    ".json": ade_json,
    ".ics": calendar_bytes,
}


def check_format(file: Path) -> None:
    """Refuse a file whose ending names no format.

    Raises:
        RecordError: If it does not.
    """
    if file.suffix.lower() not in _FORMATS:
        raise RecordError(f"{file}: no format of that name; expected {', '.join(_FORMATS)}. Rename the file.")


def write_export(season: Season, settings: ReckoningSettings, file: Path) -> int:
    """Write one file, whole or not at all; returns how many cows, scans or calendar entries are in it.

    Raises:
        RecordError: If the ending of its name is unknown, or it cannot be written.
    """
    check_format(file)
    data, count = _FORMATS[file.suffix.lower()](season, settings)
    write_whole(file, data)
    return count
