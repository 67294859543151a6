"""Files that nobody but their owner may read, whatever the umask: the record, and what was said in the shed.

On Windows the user's own folders are private already; there these modes say nothing.
"""

import os
from contextlib import suppress
from pathlib import Path

_FILE, _FOLDER = 0o600, 0o700


def make_folder(path: Path, parents: bool = False) -> None:
    """Make a private folder; one that is there stays as it is.

    Raises:
        OSError: If it cannot be made.
    """
    path.mkdir(mode=_FOLDER, parents=parents, exist_ok=True)


def opener(path: str, flags: int) -> int:
    """For `open(..., opener=...)`: a new file is private."""
    return os.open(path, flags, _FILE)


def create(path: Path) -> None:
    """Make an empty private file where there is none; whoever opens it tells why it could not be made."""
    with suppress(OSError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, _FILE))
