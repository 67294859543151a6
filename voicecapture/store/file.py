"""A SQLite file as a file: which one it is, whether it is ours and whole, and how writing reaches the disk."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from sqlite_utils import Database

from voicecapture.errors import DamagedError, RecordError
from voicecapture.store.schema import SCHEMA, altered_part


def connect(path: Path) -> sqlite3.Connection:
    """A connection that any thread may use, one at a time, and that begins no transaction by itself."""
    return sqlite3.connect(path, isolation_level=None, check_same_thread=False)


def write_through(connection: sqlite3.Connection) -> None:
    """Let every commit wait until it is on the disk."""
    for pragma in (
        "journal_mode = wal",
        "synchronous = full",
        # On macOS only this reaches the disk; elsewhere it changes nothing.
        "fullfsync = on",
        "foreign_keys = on",
    ):
        connection.execute(f"pragma {pragma}")


def identity(path: Path) -> tuple[int, int] | None:
    """Which file bears a name now, by disk and number; None if there is none."""
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return None
    return found.st_dev, found.st_ino


def synchronise(folder: Path) -> None:
    """Bring the names in a folder to the disk; Windows does that by itself, and cannot be asked to."""
    if os.name == "nt":
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def read_only(path: Path) -> str:
    """The address of a file that is only read.

    SQLite keeps what belongs to the file beside it while it is open, and only one who may write tidies that up.
    """
    if os.access(path.parent, os.W_OK) and os.access(path, os.W_OK):
        return f"{path.resolve().as_uri()}?mode=rw"
    is_settled = not path.with_name(f"{path.name}-wal").exists()
    return f"{path.resolve().as_uri()}?mode=ro{'&immutable=1' if is_settled else ''}"


def check_is_ours(db: Database, path: Path) -> None:
    """Refuse, before anything is written, what another program or a newer version made."""
    applied = {migration.name for migration in SCHEMA.applied(db)}
    with closing(Database(memory=True)) as empty:
        newer = applied - {migration.name for migration in SCHEMA.pending(empty)}
    if newer:
        raise RecordError(
            f"{path}: made by a newer version of voicecapture ({min(newer)}). Update voicecapture, or name "
            "another file."
        )
    # A first start that was cut off may have left the list of migrations, still empty.
    foreign = set(db.table_names()) - {SCHEMA.migrations_table}
    if foreign and not applied:
        raise RecordError(
            f"{path}: a database of another program (table {min(foreign)}); expected one of voicecapture or a new "
            "file. Name another file."
        )
    altered = altered_part(db)
    if altered is not None:
        raise RecordError(
            f"{path}: {altered} is not as voicecapture made it; expected its own tables and rules. The file is "
            "damaged or was changed by another program: use a copy of it."
        )


def check_is_whole(db: Database, path: Path) -> None:
    """Refuse, before anything is written, a file whose pages do not go together.

    Raises:
        DamagedError: If it is damaged.
    """
    ((found,), *_) = db.execute("pragma quick_check(1)").fetchall()
    if found != "ok":
        raise damaged(path, found)


def damaged(path: Path, found: str) -> DamagedError:
    """What is said of a damaged file."""
    return DamagedError(
        f"{path}: damaged ({found.splitlines()[-1]}); expected a whole file. `voicecapture repair` keeps a copy of "
        "it and saves what can be read."
    )


def is_damage(error: Exception) -> bool:
    """Whether an error tells of a file whose pages do not go together."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_CORRUPT
