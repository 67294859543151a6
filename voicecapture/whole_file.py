"""Files that are written whole or not at all."""

import os
from contextlib import suppress
from pathlib import Path

from voicecapture.errors import RecordError


def write_whole(file: Path, data: bytes) -> None:
    """Write a file; whoever opens it finds all of it, or what was there before.

    Raises:
        RecordError: If it cannot be written.
    """
    unfinished = file.with_name(f".{file.name}.part")
    try:
        # Never through a link that somebody laid there.
        unfinished.unlink(missing_ok=True)
        with unfinished.open("xb") as part:
            part.write(data)
        os.replace(unfinished, file)
    except OSError as error:
        raise RecordError(f"{file}: cannot be written ({error.strerror}). Name another place.") from error
    finally:
        # Written whole, it is gone by now; where it could not be made, it cannot be removed either.
        with suppress(OSError):
            unfinished.unlink()
