"""What the listener is taught with: texts, voices, people, and the files that they are kept in."""

import json
import re
import struct
import sys
from collections.abc import Iterable
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any, get_args

import numpy as np
import onnx
import pytest
import soundfile
from numpy.typing import NDArray

from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry, Result, interpret
from voicecapture.recogniser import PLAUSIBLE_DAYS
from voicecapture.recogniser.acoustic import MODEL
from voicecapture.synthesis.sayings import spoken_words
from voicecapture.synthesis.voices import BYSTANDERS, REPORTING_VOICES, VET, Voice
from voicecapture.training import human, voices
from voicecapture.training.clips import encode, read_clips
from voicecapture.training.config import read_config
from voicecapture.training.export import build_model
from voicecapture.training.human import HELD_BACK, part_of, recordings
from voicecapture.training.speech import FIRST_SEEDS, Part, draw_voice
from voicecapture.training.texts import entry, general_sentences, phones_of, text_of_the_job
from voicecapture.training.trials import herd_with
from voicecapture.training.weights import averaged, read_weights
from voicecapture.training.weights import main as mean_of_weights
from voicecapture.training.whisper_weights import encoder_weights, read_model

GRAMMAR = load_grammar()
PARTS: tuple[Part, ...] = get_args(Part)
SHIPPED_CONFIG = MODEL / "config.toml"


# ---- texts ------------------------------------------------------------------------------------------


def test_phones_are_those_of_the_dictionary_without_stress() -> None:
    """CMU Pronouncing Dictionary 0.7b: cat K AE1 T, window W IH1 N D OW0."""
    assert phones_of("Cat, window.") == ("K", "AE", "T", "W", "IH", "N", "D", "OW")


def test_a_word_that_is_not_known_leaves_no_phones() -> None:
    assert phones_of("cat zzyzx window") == ()


def test_words_of_the_job_are_said_as_the_grammar_says_them() -> None:
    for word in GRAMMAR.words:
        assert phones_of(word) == GRAMMAR.pronunciations[word][0], word


def test_general_sentences_are_plain_and_known_and_of_a_handy_length(tmp_path: Path) -> None:
    folder = tmp_path / "texts"
    folder.mkdir()
    (folder / "cows").write_text(
        "The cow's calf is in\nthe shed. Too short. The end of it\n%\nShe has 3 calves! A zzyzx was in the shed.\n"
        'He said "nobody knows the well-known answer" to her -- An old man?\n'
        "one two three four five six seven eight nine ten eleven twelve thirteen\n"
    )
    (folder / "again").write_text("The cow's calf is in the shed.")
    (folder / "cows.dat").write_bytes(b"This is only an index.\x00")
    (tmp_path / "elsewhere").write_text("This is only a link.")
    (folder / "link").symlink_to(tmp_path / "elsewhere")
    assert general_sentences(folder) == [
        "An old man",
        "The cow's calf is in the shed",
        "The end of it",
        "nobody knows the well-known answer",
    ]


def test_texts_of_the_job_have_phones_for_every_word_and_a_pace_that_voices_can_keep() -> None:
    for seed in range(200):
        text = text_of_the_job(np.random.default_rng(seed))
        assert phones_of(text.words), text
        assert 0.5 <= text.pace <= 2.0, text


def test_about_one_text_in_ten_begins_anew_after_its_first_words() -> None:
    texts = [text_of_the_job(np.random.default_rng(seed)).words for seed in range(2000)]
    begun = [re.findall(r"[A-Za-z']+", text.partition(", ")[0]) for text in texts]
    anew = [first for first, text in zip(begun, texts, strict=True) if is_said_twice(first, text)]
    assert 0.05 < len(anew) / len(texts) < 0.15
    assert {len(first) for first in anew} == {1, 2, 3}


def is_said_twice(first: list[str], words: str) -> bool:
    return re.findall(r"[A-Za-z']+", words)[: 2 * len(first)] == first * 2


def meanings(words: str) -> set[Entry | None]:
    """What the grammar makes of the words, with an age that a scan can find."""
    phrases = {interpret(tokens) for tokens in GRAMMAR.meanings(spoken_words(words).split())}
    first, last = PLAUSIBLE_DAYS
    return {p.entry for p in phrases if p.entry and (p.entry.days is None or first <= p.entry.days <= last)}


def test_entries_mean_what_they_are_written_down_as() -> None:
    """ "Five nine six, thirty one days" may also be cow 59630 and one day, but no scan finds that age."""
    for seed in range(200):
        text = entry(np.random.default_rng(seed))
        said = text.entry
        assert said is not None
        (meant,) = meanings(text.words)
        expected = Entry(said.cow, Result(said.result), said.days, said.twins, said.findings)
        assert meant is not None and replace(meant, recheck_weeks=None) == expected, text


# ---- voices -----------------------------------------------------------------------------------------


def drawn(part: Part) -> list[Voice]:
    rng = np.random.default_rng(4)
    return [draw_voice(part, number, 0.4, rng) for number in range(500)]


def speakers(voices: Iterable[Voice]) -> set[object]:
    """Who speaks: a kokoro seed and an espeak variant are one speaker in every accent, kal and kal16 are one."""
    return {
        voice.seed if voice.family == "kokoro" else (voice.family, voice.variant.split("+")[-1].removesuffix("16"))
        for voice in voices
    }


def test_no_voice_and_no_speaker_is_in_two_parts() -> None:
    voices = {part: drawn(part) for part in PARTS}
    names = {part: {voice.name for voice in voices[part]} for part in PARTS}
    for part, other in combinations(PARTS, 2):
        assert not names[part] & names[other]
        assert not speakers(voices[part]) & speakers(voices[other])


def test_voices_that_figures_and_the_demo_are_made_with_are_never_trained_on() -> None:
    taught = speakers([*drawn("training"), *drawn("calibration")])
    assert not taught & speakers([*REPORTING_VOICES, *BYSTANDERS, VET])


def test_each_speaker_of_kokoro_speaks_once() -> None:
    seeds = [voice.seed for voice in drawn("training") if voice.family == "kokoro"]
    assert len(seeds) > 100 and len(set(seeds)) == len(seeds)


def test_the_shipped_run_has_no_seed_in_two_parts_and_mixes_whole_batches() -> None:
    shipped = read_config(SHIPPED_CONFIG)
    seeds = [range(FIRST_SEEDS[part], FIRST_SEEDS[part] + shipped.clips[part]) for part in PARTS]
    assert len(set().union(*seeds)) == sum(map(len, seeds))
    assert shipped.rounds
    for settings in shipped.rounds.values():
        assert sum(settings.mix.values()) == pytest.approx(1.0)


# ---- people -----------------------------------------------------------------------------------------


def write_set(sets: Path, name: str, rows: Iterable[tuple[str, str]]) -> None:
    """A set of recordings, each half a second of a tone; rows are speaker and words."""
    folder = sets / name
    folder.mkdir(parents=True)
    tone = 0.1 * np.sin(np.arange(8000) * 0.2)
    with (folder / "manifest.jsonl").open("w", encoding="utf-8") as manifest:
        for number, (speaker, words) in enumerate(rows):
            soundfile.write(folder / f"{number}.wav", tone, 16_000)
            row = {"file": f"{number}.wav", "speaker": speaker, "words": words, "licence": "CC0-1.0"}
            manifest.write(json.dumps(row) + "\n")


def test_held_back_and_unnamed_speakers_and_unknown_words_are_nowhere(tmp_path: Path) -> None:
    held_back = [(f"fsdd_{name}", "four") for name in HELD_BACK]
    odd = [("unknown", "four"), ("somebody", ""), ("somebody", "zzyzx")]
    write_set(tmp_path, "digits", [("fsdd_george", "four"), *held_back, *odd])
    assert [(row["set"], row["speaker"], row["words"]) for row in recordings(tmp_path)] == [
        ("digits", "fsdd_george", "four")
    ]


@pytest.mark.parametrize("licence", [None, "", "unknown", "CC BY-NC 4.0", "all rights reserved"])
def test_recordings_under_an_unclear_or_unfit_licence_stay_out(tmp_path: Path, licence: str | None) -> None:
    write_set(tmp_path, "digits", [("somebody", "four"), ("somebody else", "nine")])
    manifest = tmp_path / "digits" / "manifest.jsonl"
    first, last = map(json.loads, manifest.read_text("utf-8").splitlines())
    manifest.write_text("\n".join(map(json.dumps, [{**first, "licence": licence}, last])), "utf-8")
    assert [row["words"] for row in recordings(tmp_path)] == ["nine"]


def test_of_a_word_that_is_no_number_only_so_many_recordings_are_kept(tmp_path: Path) -> None:
    folder = tmp_path / "words"
    folder.mkdir()
    rows = [
        {"file": "a.wav", "speaker": "somebody", "words": words, "licence": "MIT"}
        for words in ("happy", "nine") * 150
    ]
    (folder / "manifest.jsonl").write_text("\n".join(map(json.dumps, rows)))
    words = [row["words"] for row in recordings(tmp_path)]
    assert (words.count("happy"), words.count("nine")) == (120, 150)


def test_every_speaker_is_in_one_part_whatever_set_they_are_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    people = [f"person_{number}" for number in range(20, 32)] + ["fsdd_george", "fsdd_lucas", "fsdd_theo"]
    write_set(tmp_path / "sets", "digits", [(speaker, "four one") for speaker in people])
    write_set(tmp_path / "sets", "words", [(speaker, "window") for speaker in people])
    monkeypatch.setattr(sys, "argv", ["human", str(tmp_path / "sets"), str(tmp_path / "packed")])
    human.main()
    found: dict[str, set[str]] = {}
    for folder in (tmp_path / "packed").iterdir():
        rows, samples = read_clips(folder)
        for row, clip in zip(rows, samples, strict=True):
            found.setdefault(row["speaker"], set()).add(folder.name)
            assert row["kind"] == ("digits" if row["words"] == "four one" else "other")
            assert len(clip) == 8000 and np.std(clip) == pytest.approx(0.5 / np.sqrt(2), abs=0.02)
    assert found == {speaker: {part_of(speaker)} for speaker in people if speaker != "fsdd_theo"}
    assert {part for parts in found.values() for part in parts} == set(PARTS)
    assert found["fsdd_george"] == {"training"} and found["fsdd_lucas"] == {"reporting"}


def test_speakers_are_shared_out_for_good_and_each_part_gets_its_share() -> None:
    """By a checksum, not a draw: the check value of CRC-32 is 0xCBF43926 for "123456789", so 62 of a hundred."""
    assert part_of("123456789") == "training"
    parts = [part_of(f"person_{number}") for number in range(2000)]
    # Four standard errors of a share of two thirds among 2,000.
    shares: dict[Part, float] = {"calibration": 0.14, "reporting": 0.20, "training": 0.66}
    for part, share in shares.items():
        assert parts.count(part) / 2000 == pytest.approx(share, abs=0.042)


# ---- who is where -----------------------------------------------------------------------------------


def packed_rows(folder: Path, rows: list[dict[str, Any]]) -> str:
    folder.mkdir(parents=True)
    (folder / "clips.jsonl").write_text("\n".join(map(json.dumps, rows)), encoding="utf-8")
    return str(folder)


VOICES = [{"voice": name, "speaker": name} for name in ("kokoro-irish-1007", "kokoro-british-1002", "flite-slt")]
COPIES = [{**row, "speaker": f"{row['speaker']}~1"} for row in VOICES]
PERSON = {"voice": "human-am01", "speaker": "am01"}


def list_voices(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, calibration: list[dict[str, Any]]) -> Path:
    out = tmp_path / "voices.json"
    training, copies = packed_rows(tmp_path / "t", [*VOICES, PERSON]), packed_rows(tmp_path / "c", COPIES)
    other = packed_rows(tmp_path / "k", calibration)
    arguments = [f"training={training}", f"training={copies}", f"calibration={other}"]
    monkeypatch.setattr(sys, "argv", ["voices", str(out), *arguments])
    voices.main()
    return out


def test_voices_are_listed_by_part_and_a_copy_is_its_original(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calibration = [{"voice": "kokoro-irish-1008", "speaker": "kokoro-irish-1008"}]
    assert json.loads(list_voices(tmp_path, monkeypatch, calibration).read_text("utf-8")) == {
        "training": {
            "kokoro_mixtures": 2,
            "kokoro_seeds": [1002, 1007],
            "other_voices": ["flite-slt"],
            "people": ["am01"],
        },
        "calibration": {"kokoro_mixtures": 1, "kokoro_seeds": [1008, 1008], "other_voices": [], "people": []},
    }


@pytest.mark.parametrize("row", [*VOICES, *COPIES, PERSON])
def test_a_voice_in_two_parts_is_told_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, row: dict[str, Any]
) -> None:
    with pytest.raises(SystemExit, match="in two parts"):
        list_voices(tmp_path, monkeypatch, [row])
    assert not (tmp_path / "voices.json").exists()


# ---- files ------------------------------------------------------------------------------------------


def tone(frequency_hz: float, duration_s: float) -> NDArray[np.float32]:
    return (0.3 * np.sin(2 * np.pi * frequency_hz * np.arange(int(16_000 * duration_s)) / 16_000)).astype(np.float32)


def test_packed_clips_come_back_as_they_were(tmp_path: Path) -> None:
    clips = [tone(300, 0.5), tone(800, 1.2), tone(440, 0.3)]
    packed, rows = b"", []
    for words, clip in zip(("four", "four one seven", "empty"), clips, strict=True):
        opus = encode(clip)
        rows.append({"words": words, "offset": len(packed), "bytes": len(opus)})
        packed += opus
    (tmp_path / "clips.bin").write_bytes(packed)
    (tmp_path / "clips.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
    found_rows, found = read_clips(tmp_path)
    assert found_rows == rows
    for clip, came_back in zip(clips, found, strict=True):
        assert came_back.dtype == np.float32 and came_back.shape == clip.shape
        assert np.corrcoef(clip, came_back)[0, 1] > 0.99
    assert len(packed) < sum(clip.nbytes for clip in clips) / 10


def written(variables: dict[str, NDArray[Any]]) -> bytes:
    """CTranslate2's binary format, as `ModelSpec._serialize` of its `specs/model_spec.py` 4.8 writes it."""

    def text(string: str) -> bytes:
        return struct.pack("<H", len(string) + 1) + string.encode() + b"\0"

    content = struct.pack("<I", 6) + text("WhisperSpec") + struct.pack("<II", 3, len(variables))
    kinds = {"float32": 0, "int8": 1, "int16": 2, "int32": 3, "float16": 4}
    for name, value in variables.items():
        content += text(name) + struct.pack(f"<B{value.ndim}I", value.ndim, *value.shape)
        content += struct.pack("<BI", kinds[value.dtype.name], value.nbytes) + value.tobytes()
    return content + struct.pack("<I", 1) + text("decoder/projection/weight") + text("decoder/embeddings/weight")


def test_variables_of_a_model_are_read_with_shape_and_type(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    variables: dict[str, NDArray[Any]] = {
        "encoder/conv1/weight": rng.normal(size=(4, 3, 2)).astype(np.float16),
        "encoder/conv1/bias": rng.normal(size=4).astype(np.float32),
        "encoder/num_heads": np.array(6, np.int16),
        "decoder/quantised": rng.integers(-128, 128, (2, 5)).astype(np.int8),
        "decoder/lengths": np.array([70_000, -1], np.int32),
    }
    (tmp_path / "model.bin").write_bytes(written(variables))
    found = read_model(tmp_path / "model.bin")
    assert list(found) == list(variables)
    for name, value in variables.items():
        assert found[name].dtype == value.dtype and found[name].shape == value.shape
        assert np.array_equal(found[name], value), name


def test_the_encoder_gets_every_layer_and_nothing_of_the_decoder() -> None:
    block = [f"{part}/{p}" for part in ("self_attention/linear_0", "self_attention/linear_1") for p in _DENSE]
    block += [f"ffn/{part}/{p}" for part in ("linear_0", "linear_1") for p in _DENSE]
    block += [f"{part}/layer_norm/{p}" for part in ("self_attention", "ffn") for p in _NORM]
    inputs = [f"conv{i}/{p}" for i in (1, 2) for p in _DENSE] + ["position_encodings/encodings"]
    names = [*inputs, *(f"layer_{i}/{name}" for i in range(3) for name in block), *(f"layer_norm/{p}" for p in _NORM)]
    variables: dict[str, NDArray[np.generic]] = {f"encoder/{name}": np.array(i) for i, name in enumerate(names)}
    found = encoder_weights({**variables, "decoder/layer_0/ffn/linear_0/bias": np.array(-1)})
    assert {int(value) for value in found.values()} == set(range(len(names)))
    assert found["layers.2.qkv.weight"] is variables["encoder/layer_2/self_attention/linear_0/weight"]
    assert found["layers.1.norm2.bias"] is variables["encoder/layer_1/ffn/layer_norm/beta"]
    assert found["norm.weight"] is variables["encoder/layer_norm/gamma"]


_DENSE, _NORM = ("weight", "bias"), ("gamma", "beta")


def test_a_trial_is_heard_with_a_whole_herd_so_that_a_wrong_cow_can_be_taken() -> None:
    listed = herd_with(Entry("417", Result.EMPTY), is_listed=True)
    assert "417" in listed and len(listed) >= 1000
    assert "417" not in herd_with(Entry("417", Result.EMPTY), is_listed=False)
    assert len(herd_with(None, is_listed=True)) == 1000


# ---- weights ----------------------------------------------------------------------------------------


def test_the_weights_of_the_shipped_listener_can_be_read_back_and_are_exported_as_they_were() -> None:
    """So that a round may go on from them."""
    weights = read_weights(MODEL / "listener.onnx")
    assert weights["layers.3.up.weight"].shape == (1536, 384), "as a linear layer of PyTorch has it"
    shipped, made = onnx.load(MODEL / "listener.onnx").graph, build_model(weights).graph
    assert list(made.node) == list(shipped.node) and list(made.initializer) == list(shipped.initializer)


def test_weights_of_different_networks_have_no_mean() -> None:
    body = {"norm": np.zeros(2, np.float16)}
    with pytest.raises(ValueError, match="layer to phones"):
        averaged([body, {**body, "head.bias": np.zeros(2, np.float16)}])


def test_the_mean_of_weights_counts_a_file_as_often_as_it_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (("a", 1.0), ("b", 4.0)):
        np.savez(tmp_path / f"{name}.npz", norm=np.full((2, 3), value, np.float16))
    files = [str(tmp_path / f"{name}.npz") for name in ("mean", "a", "b", "a")]
    monkeypatch.setattr(sys, "argv", ["weights", *files])
    mean_of_weights()
    found = read_weights(tmp_path / "mean.npz")
    assert set(found) == {"norm"} and found["norm"].dtype == np.float16
    assert np.array_equal(found["norm"], np.full((2, 3), 2.0))
