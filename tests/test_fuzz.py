"""Damaged and hostile files: each is read, or refused in one sentence that names it. See `mutations`."""

import io
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import example, given
from hypothesis import strategies as st

from tests.mutations import EDITS, EXAMPLES, HOSTILE, Edit, damaged, fuzzed, is_plain, only_a_sentence
from tests.seasons import empty, in_calf, recheck
from tests.test_season_store import a_day
from tests.test_speech_models import LAYOUT
from voicecapture import demo
from voicecapture.audio import read_recording
from voicecapture.day import Candidate, Event, EventKind
from voicecapture.errors import GrammarError, VoiceCaptureError
from voicecapture.exports import write_export
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry, Result
from voicecapture.lists.calvings import read_calvings
from voicecapture.lists.herd import read_herd
from voicecapture.lists.matings import read_matings
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.report.content import make_report
from voicecapture.report.text import text_report
from voicecapture.settings import read_settings
from voicecapture.speech_models import add_model
from voicecapture.store.adding import add_days
from voicecapture.store.clips import read_before, read_clips, read_utterance
from voicecapture.store.record import Record
from voicecapture.store.season import add_list, read_season, set_mating_start, sign

CLIP = Path(__file__).parents[1] / "audio_fixtures/reporting/000-entry-clean.ogg"
READERS: list[Callable[[Path], object]] = [read_herd, read_matings, read_calvings]
HEADINGS = (
    *("cow", "electronic_id", "breed", "mated_on", "born_on", "calved_on", "eligible", "served_on", "kind", "sire"),
    *("bull_in", "bull_out", "outcome", "Tag no.", "remarks"),
)
CELLS = st.one_of(
    st.sampled_from(["417", "0042", "", "2026-12-01", "9999-12-31", "0001-01-01", "31/12/2026", "AI", "natural"]),
    st.sampled_from(["826000000000417", "8000000000000000", "FFF.FFFFFFFFFF", "sold", "calved", "yes", '"', "''"]),
    st.sampled_from(HOSTILE),
    st.text(max_size=12),
)


@pytest.mark.parametrize("read", READERS, ids=lambda read: read.__name__)
@given(
    st.lists(st.sampled_from(HEADINGS), min_size=1, max_size=6),
    st.lists(st.lists(CELLS, max_size=6), max_size=6),
    st.sampled_from(",;\t"),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
)
@fuzzed()
def test_lists_of_any_cells(
    tmp_path: Path,
    read: Callable[[Path], object],
    headings: list[str],
    rows: list[list[str]],
    delimiter: str,
    ending: str,
    encoding: str,
) -> None:
    path = tmp_path / "list.csv"
    text = ending.join(delimiter.join(cells) for cells in [headings, *rows])
    path.write_bytes(text.encode(encoding, "replace"))
    with only_a_sentence(path):
        read(path)


@pytest.mark.parametrize("read", READERS, ids=lambda read: read.__name__)
@given(EDITS)
@fuzzed()
def test_lists_of_any_bytes(tmp_path: Path, read: Callable[[Path], object], edits: list[Edit]) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(damaged(demo.HERD.read_bytes(), edits))
    with only_a_sentence(path):
        read(path)


SETTINGS = b"""scan = "aged"
questions_per_wrong_entry = 100
break_after_minutes = 90
[findings]
mastitis = "M AE S T AY T AH S"
toe_abscess = ["T OW AE B S EH S"]
[reckoning]
dry_off_days = 60
gestation_days = { other = 282, jersey = 280 }
ageing_sd_days = { 60 = 4.6, 98 = 7.7, 400 = 11.0 }
"""
VALUES = st.one_of(
    st.sampled_from(["nan", "inf", "-inf", "true", "[]", "{}", '""', "1e400", "-1", "0", "9" * 5000, "0x7f"]),
    st.sampled_from(["1979-05-27", '"AH"', '["AH", "B"]', "[[1]]", "{ a = 1 }", '"\\u001b[2J"', "60", "280"]),
    st.sampled_from(["[" * 3000, "{a=" * 3000]),
    st.integers().map(str),
)
NAMES = st.one_of(
    st.sampled_from(["scan", "findings", "reckoning", "questions_per_wrong_entry", "break_after_minutes"]),
    st.sampled_from(["dry_off_days", "gestation_days", "ageing_sd_days", "60", "other", '"\\u00b2"', '"\\u001b"']),
    st.sampled_from(["lame", "empty", "four", "cow", "days", "oops", "first", "VOID", "practice_finding", '""']),
    st.text(max_size=5).map(lambda name: '"' + "".join(c for c in name if c.isalnum()) + '"'),
)
HEADS = st.sampled_from(["", "[findings]\n", "[reckoning]\n"])


@given(st.lists(st.tuples(HEADS, NAMES, VALUES), max_size=4), EDITS | st.just([]))
@fuzzed()
def test_settings(tmp_path: Path, lines: list[tuple[str, str, str]], edits: list[Edit]) -> None:
    path = tmp_path / "settings.toml"
    made = "".join(f"{table}{name} = {value}\n" for table, name, value in lines).encode("utf-8", "replace")
    path.write_bytes(made or damaged(SETTINGS, edits))
    with only_a_sentence(path):
        found = read_settings(path).findings
        if found:
            try:
                load_grammar(practice_findings=found)
            except GrammarError as error:
                assert "finding" in str(error)


@cache
def recordings() -> dict[str, bytes]:
    """One real recording in every form that recorders write."""
    samples, rate_hz = soundfile.read(CLIP, dtype="float32")
    made = {"ogg": CLIP.read_bytes()}
    for name, form, subtype in (
        ("wav", "WAV", "PCM_16"),
        ("float.wav", "WAV", "FLOAT"),
        ("adpcm.wav", "WAV", "MS_ADPCM"),
        ("stereo.wav", "WAVEX", "PCM_24"),
        ("flac", "FLAC", "PCM_16"),
        ("vorbis.ogg", "OGG", "VORBIS"),
        ("mp3", "MP3", "MPEG_LAYER_III"),
        ("aiff", "AIFF", "PCM_16"),
    ):
        data = io.BytesIO()
        sound = np.stack([samples, samples], 1) if name.startswith("stereo") else samples
        soundfile.write(data, sound, rate_hz, format=form, subtype=subtype)
        made[name] = data.getvalue()
    return made


FORMS = ("ogg", "wav", "float.wav", "adpcm.wav", "stereo.wav", "flac", "vorbis.ogg", "mp3", "aiff")


@pytest.mark.parametrize("name", FORMS)
@given(EDITS, st.booleans())
@fuzzed()
def test_recordings(tmp_path: Path, name: str, edits: list[Edit], is_head: bool) -> None:
    path = tmp_path / f"recording.{name}"
    data = recordings()[name]
    path.write_bytes(damaged(data[:64], edits) + data[64:] if is_head else damaged(data, edits))
    with only_a_sentence(path):
        for chunk in read_recording(path):
            assert np.isfinite(chunk.samples).all() and abs(chunk.samples).max() <= 1


@cache
def archive() -> bytes:
    """A zip of files where a model has them; Vosk cannot load it."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as made:
        for place, name in enumerate(LAYOUT):
            kind = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)[place]
            made.writestr(f"model/{name}", b"no model, only text that is long enough to be pressed " * 9, kind)
    return data.getvalue()


@given(EDITS)
@fuzzed(2 * EXAMPLES)
def test_model_archives(tmp_path: Path, edits: list[Edit]) -> None:
    source, models = tmp_path / "model.zip", tmp_path / "models"
    source.write_bytes(damaged(archive(), edits))
    before = set(tmp_path.rglob("*"))
    with only_a_sentence(source):
        add_model(source, ["four"], models)
    assert set(tmp_path.rglob("*")) - before <= {models}


@given(
    st.lists(
        st.text(max_size=9)
        | st.sampled_from(["../x", "/x", "C:x", "a/" * 300 + "x", "x" * 5000, ".", "..", "", "model", "a\0b"]),
        max_size=6,
    )
)
@fuzzed()
def test_names_in_model_archives(tmp_path: Path, names: list[str]) -> None:
    source, models = tmp_path / "model.zip", tmp_path / "models"
    with zipfile.ZipFile(source, "w") as made:
        for name in (*names, *(f"model/{name}" for name in LAYOUT)):
            made.writestr(zipfile.ZipInfo(name.encode("utf-8", "replace").decode()), b"no model")
    before = set(tmp_path.rglob("*"))
    with only_a_sentence(source):
        add_model(source, ["four"], models)
    assert set(tmp_path.rglob("*")) - before <= {models}


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season's file as the program leaves it: lists, questions, amendments, a signature, sounds."""
    path = tmp_path_factory.mktemp("season") / "day.db"
    jersey = Animal("417", "826000000000417", "Jersey", date(2026, 12, 1))
    herd = Herd([jersey, Animal("608", born_on=date(2025, 1, 9))])
    a_day(path, in_calf("417", 56, True), empty("608"), recheck("4", 3), vet="Vet", herd=herd)
    record = Record.open(path)
    entry = Entry("608", Result.PREGNANT, crown_rump_mm=30, findings=("lame",))
    record.append(1, Event(EventKind.QUESTION, 9.0, None, entry, "why", 0.5, (Candidate(entry, 0.5),), replaces=2))
    record.append(1, Event(EventKind.COMMAND, 9.5, None, None, "so_far"))
    add_list(record, "matings", "matings.csv", "cow,served_on,sire\n417,2026-12-14,Elder\n")
    add_list(record, "herd", "herd.csv", "cow,breed\n417,Friesian\n")
    set_mating_start(record, date(2026, 11, 9))
    sign(record, read_season(record).days[0].name, "Vet")
    record.append(1, Event(EventKind.ACCEPTED, 9.0, None, entry, "amended", replaces=2, answers=4, by="Vet"))
    record.close()
    return path


def use(path: Path, folder: Path) -> None:
    """Everything that is done with a file of a day or a season."""
    with Record.reading(path) as record:
        found = read_season(record)
        for day in found.days:
            clips = read_clips(record, day.name)
            for number, clip in clips.items():
                try:
                    read_utterance(clip)
                    read_before(clips, number, 3.0)
                except VoiceCaptureError as error:
                    assert is_plain(str(error))
    report = make_report(found, ReckoningSettings())
    assert is_plain("".join(text_report(report)))
    for ending in ("csv", "xlsx", "json", "ics"):
        write_export(found, ReckoningSettings(), folder / f"out.{ending}")


def check_use(tmp_path: Path, path: Path) -> None:
    with only_a_sentence(path):
        use(path, tmp_path)
    joined = tmp_path / "season.db"
    joined.unlink(missing_ok=True)
    record = Record.open(joined)
    with only_a_sentence(path):
        add_days(record, path)
    record.close()
    with only_a_sentence(path):
        Record.open(path).close()


def fresh(season: Path, tmp_path: Path) -> Path:
    for left in tmp_path.glob("day.db*"):
        left.unlink()
    shutil.copytree(season.parent, tmp_path, dirs_exist_ok=True)
    return tmp_path / season.name


@given(EDITS, st.booleans())
@example([("repeat", 0.625, 0.75, b"\0"), ("write", 0.5, 0.0, b"\xff")], False)  # a message of SQLite is no text
@fuzzed()
def test_databases_of_any_bytes(season: Path, tmp_path: Path, edits: list[Edit], is_head: bool) -> None:
    path = fresh(season, tmp_path)
    data = season.read_bytes()
    # The first pages hold the header and the tables' definitions.
    path.write_bytes(damaged(data[:8192], edits) + data[8192:] if is_head else damaged(data, edits))
    check_use(tmp_path, path)


TABLES = ("day", "animal", "utterance", "event", "farm_list", "mating_start", "signature")
CONTENT = st.one_of(
    st.none(),
    st.sampled_from(["417", "²", "x", "-1", "999999", "2026-13-01", "9999-12-31", "0001-01-01", "2027-02-09T00"]),
    st.sampled_from(["[]", "{}", "[[]]", "[{}]", "[1]", "null", '["a"]', '{"a": 1}', "[" * 5000, '[{"cow": 1}]']),
    st.sampled_from(["pregnant", "question", "../../etc/passwd", "cow\n1", "cow,served_on\n1,9999-12-31", "herd"]),
    st.sampled_from(["aged", "inf", "nan", "1e999", "a_clips/../../x.flac", "a_clips/x.flac", "\ud7ff"]),
    st.sampled_from(HOSTILE),
    st.sampled_from([0, 1, -1, 2, 5, 2**31, 2**63 - 1, -(2**63), 1e308, -1e308, float("inf"), 0.5, b"\xff\xfe", b""]),
    st.text(max_size=8),
)
CHANGE = st.tuples(st.sampled_from(TABLES), st.integers(0, 30), CONTENT, st.integers(0, 5))


@given(st.lists(CHANGE, min_size=1, max_size=4))
@fuzzed(4 * EXAMPLES)
def test_databases_of_any_content(season: Path, tmp_path: Path, changes: list[tuple[str, int, object, int]]) -> None:
    path = fresh(season, tmp_path)
    with closing(sqlite3.connect(path)) as db:
        triggers = db.execute("select name, sql from sqlite_master where type = 'trigger'").fetchall()
        for name, _ in triggers:
            db.execute(f"drop trigger {name}")
        db.execute("pragma ignore_check_constraints = on")
        for table, place, value, row in changes:
            columns = [found[1] for found in db.execute(f"pragma table_info({table})")]
            # The table of utterances has no row numbers of its own.
            key = "number" if table == "utterance" else "rowid"
            keys = [found[0] for found in db.execute(f"select {key} from {table}")]
            statement = f"update {table} set {columns[place % len(columns)]} = ? where {key} = ?"
            with suppress(sqlite3.Error):  # the table itself refuses it
                db.execute(statement, [value, keys[row % len(keys)]])
        for _, sql in triggers:
            db.execute(sql)
        db.commit()
    check_use(tmp_path, path)
