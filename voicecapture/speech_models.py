"""Vosk models that were added: `voicecapture model add` checks one and keeps it by name."""

import json
import lzma
import re
import shutil
import stat
import struct
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from zipfile import BadZipFile, ZipFile, ZipInfo

import platformdirs

from voicecapture.errors import ModelError
from voicecapture.plain_text import one_line, shown

MODELS = platformdirs.user_data_path("voicecapture") / "models"
"""Where added models are kept, one folder each."""

_LARGEST_BYTES = 4 * 1024**3
"""The largest public Vosk models unpack to under 4 GiB; what is larger is no model."""
_MOST_FILES = 1000
"""A model has some dozens."""
_MOST_PRESSED, _SMALL_BYTES = 20, 16 * 1024**2
"""Models are numbers, which a zip archive presses to no less than half; what unpacks to more than 20 times its size,
and not to little, is made to fill the disk."""
_LOADING_S, _LOADED_BYTES_S = 30.0, 10e6
"""A model that takes longer to load, by its size, never will: slow laptops take a tenth of it."""
_UNREADABLE = (
    BadZipFile,
    NotImplementedError,
    RuntimeError,
    EOFError,
    ValueError,
    zlib.error,
    lzma.LZMAError,
    struct.error,
)
"""Everything that zipfile raises at a damaged archive."""

_LAYOUTS = (
    ("am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst"),
    ("final.mdl", "mfcc.conf", "HCLr.fst", "Gr.fst"),
)
"""What a model must hold, in the present layout and in the old one. HCLr.fst and Gr.fst are the graph in two parts,
without which a model cannot be held to the words of a grammar."""


@dataclass(frozen=True, slots=True)
class AddedModel:
    """A model that was added."""

    path: Path
    """Its folder."""
    missing_words: tuple[str, ...]
    """Words of the grammar that it cannot hear."""


def add_model(source: Path, words: Iterable[str], into: Path = MODELS) -> AddedModel:
    """Check a Vosk model and keep a copy; nothing is kept of a model that is refused.

    Args:
        source: Folder or zip archive of the model, with or without a folder around it.
        words: Words of the grammar.
        into: Where models are kept.

    Raises:
        ModelError: If it is missing, no Vosk model, unsafe to unpack, has no word of the grammar, or its name is
            taken.
    """
    if not source.exists():
        raise ModelError(f"{source}: not found; expected a folder or a zip archive. Name an existing Vosk model.")
    try:
        into.mkdir(parents=True, exist_ok=True)
        # Beside the target, so that the last step is a rename.
        with tempfile.TemporaryDirectory(prefix=".adding-", dir=into) as temporary:
            unpacked = Path(temporary) / re.sub(r"\.zip$", "", source.resolve().name, flags=re.IGNORECASE)
            if source.is_dir():
                _copy(source, unpacked)
            else:
                _unpack(source, unpacked)
            model = _model_folder(unpacked, source)
            target = into / one_line(model.name)
            if target.exists():
                raise ModelError(f"{target}: a model of this name was added already. Delete that folder first.")
            words = tuple(words)
            missing = _missing_words(model, words, source)
            if words and len(missing) == len(words):
                raise ModelError(
                    f"{source}: the model knows no word of the grammar; expected one of the grammar's language. "
                    "Name another model."
                )
            model.rename(target)
    except OSError as error:
        raise ModelError(f"{source}: cannot be copied to {into} ({error.strerror or error}). Mend that.") from error
    return AddedModel(target, missing)


def _missing_words(model: Path, words: tuple[str, ...], source: Path) -> tuple[str, ...]:
    """Words that a model cannot hear.

    Asked of a process of its own: Vosk was seen to abort, or never to return, on models with damaged bytes.
    """
    size = sum(file.stat().st_size for file in model.rglob("*") if file.is_file())
    try:
        answer = subprocess.run(
            # -P: nothing is imported from the folder that the user happens to be in.
            [sys.executable, "-P", "-m", "voicecapture.recogniser.vosk", model],
            input=json.dumps(words),
            capture_output=True,
            encoding="utf-8",
            timeout=_LOADING_S + size / _LOADED_BYTES_S,
            check=True,
        )
    except (subprocess.CalledProcessError, subprocess.TimeoutExpired) as error:
        raise ModelError(
            f"{source}: Vosk cannot load it; expected a Vosk model (am, conf, graph). Name another model."
        ) from error
    return tuple(json.loads(answer.stdout))


def find_model(name_or_path: str, models: Path = MODELS) -> Path:
    """Folder of a model: one that was added, by name, or any folder, by path.

    Raises:
        ModelError: If there is no such model.
    """
    for folder in (models / name_or_path, Path(name_or_path)):
        if _is_model(folder):
            return folder
    names = ", ".join(list_models(models)) or "none yet"
    raise ModelError(
        f"{name_or_path}: no Vosk model; expected the folder of one, or a model that was added ({names}). "
        "Add one with `voicecapture model add FOLDER_OR_ZIP`."
    )


def list_models(models: Path = MODELS) -> list[str]:
    """Names of the models that were added."""
    if not models.is_dir():
        return []
    return sorted(folder.name for folder in models.iterdir() if folder.name[0] != "." and _is_model(folder))


def _is_model(folder: Path) -> bool:
    return any(all((folder / name).is_file() for name in layout) for layout in _LAYOUTS)


def _model_folder(folder: Path, source: Path) -> Path:
    """The folder itself, or the only one in it, as archives have it."""
    inside = [entry for entry in folder.iterdir() if entry.name != "__MACOSX"]
    for candidate in (folder, *inside) if len(inside) == 1 else (folder,):
        if _is_model(candidate):
            return candidate
        if any((candidate / name).is_file() for name in ("graph/HCLG.fst", "HCLG.fst")):
            raise ModelError(
                f"{source}: a model with a fixed graph (HCLG.fst), which cannot be held to a grammar; expected "
                "HCLr.fst and Gr.fst. Use a small model."
            )
    raise ModelError(f"{source}: no Vosk model; expected {', '.join(_LAYOUTS[0])}. Name the folder of a model.")


def _copy(source: Path, target: Path) -> None:
    size = 0
    for count, entry in enumerate(source.rglob("*"), 1):
        _check_count(count, source)
        if entry.is_symlink():
            raise ModelError(
                f"{source}: '{shown(entry.name)}' is a link; expected plain files. Copy the model without links."
            )
        size += entry.stat().st_size if entry.is_file() else 0
    _check_size(size, source)
    shutil.copytree(source, target)


def _unpack(source: Path, target: Path) -> None:
    try:
        with ZipFile(source) as archive:
            entries = archive.infolist()
            _check_count(len(entries), source)
            for entry in entries:
                _check_entry(entry, source)
            size = sum(entry.file_size for entry in entries)
            _check_size(size, source)
            if size > max(_SMALL_BYTES, _MOST_PRESSED * source.stat().st_size):
                raise ModelError(
                    f"{source}: unsafe archive: unpacks to {size / 1024**2:.0f} MiB, over {_MOST_PRESSED} times its "
                    "size; expected a model. Do not use it."
                )
            # zipfile gives no more bytes of an entry than the size it states, so the sum above holds.
            archive.extractall(target)
    except _UNREADABLE as error:
        raise ModelError(
            f"{source}: a zip archive that cannot be read ({shown(str(error))}). Download it again."
        ) from error
    target.mkdir(exist_ok=True)


def _check_entry(entry: ZipInfo, source: Path) -> None:
    """Refuse what would be written outside the target or is no plain file; zipfile would only rename it."""
    name = entry.orig_filename
    mode = stat.S_IFMT(entry.external_attr >> 16)
    if not name.strip("/"):
        fault = "no name of a file"
    elif name.startswith(("/", "\\")) or ":" in name or ".." in re.split(r"[/\\]", name) or "\0" in name:
        fault = "a path that leads out of the archive"
    elif mode not in (0, stat.S_IFREG, stat.S_IFDIR):
        fault = "a link or a special file"
    elif entry.flag_bits & 1:
        fault = "encrypted"
    else:
        return
    raise ModelError(f"{source}: unsafe archive: '{shown(name)}' is {fault}; expected plain files. Do not use it.")


def _check_count(files: int, source: Path) -> None:
    if files > _MOST_FILES:
        raise ModelError(
            f"{source}: over {_MOST_FILES} files; expected a Vosk model, which has dozens. Name its folder."
        )


def _check_size(size: int, source: Path) -> None:
    if size > _LARGEST_BYTES:
        raise ModelError(f"{source}: {size / 1024**3:.1f} GiB; expected at most 4 GiB. Use a smaller model.")
