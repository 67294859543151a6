"""Sound to decisions: how soon an entry is over, and what is heard of it before."""

from collections.abc import Callable, Iterator

import numpy as np
import pytest

from tests.fakes import Samples, in_chunks, spoken, with_pauses
from voicecapture.audio import AudioChunk
from voicecapture.bars import IN_ONE_BREATH
from voicecapture.day import Day
from voicecapture.decision import Outcome
from voicecapture.ear import Ear, Heard
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry, Result
from voicecapture.recogniser import Hearing, Language
from voicecapture.recogniser.listener import Listener
from voicecapture.segmenter import SegmenterSettings, Utterance
from voicecapture.settings import Settings

HERD = Herd(Animal(cow) for cow in ("415", "417", "419", "608"))
LISTENER, GRAMMAR, PAUSES = Listener(), load_grammar(), SegmenterSettings()


class Listening:
    """Sound heard by a fresh ear, with the time on the audio clock at which each decision fell."""

    def __init__(self, samples: Samples, has_time: Callable[[], bool] = lambda: False) -> None:
        self.ear = Ear(Day(HERD), GRAMMAR, LISTENER, Settings())
        self.came_s, self.words, self.heard, self.decided_s = 0.0, list[str](), list[Heard](), list[float]()
        for heard in self.ear.hear(self.source(samples), self.on_chunk, has_time):
            self.heard.append(heard)
            self.decided_s.append(self.came_s)

    def source(self, samples: Samples) -> Iterator[AudioChunk]:
        for chunk in in_chunks(samples):
            self.came_s = chunk.start_s
            yield chunk

    def on_chunk(self, chunk: AudioChunk, speech: float) -> None:
        if self.ear.words and self.ear.words not in self.words[-1:]:
            self.words.append(self.ear.words)

    def pause_ms(self, which: int = 0) -> float:
        """From the last voiced chunk to the decision."""
        return 1000 * (self.decided_s[which] - self.heard[which].utterance.end_s) + PAUSES.tail_ms + 32


@pytest.mark.parametrize(
    ("words", "pause_ms"),
    [
        ("four one seven, pregnant fifty six days.", PAUSES.early_pause_ms),
        ("four one seven, empty.", PAUSES.early_pause_ms),
        # Three days, or an age, may follow.
        ("four one seven, pregnant, eight weeks.", PAUSES.end_pause_ms),
        ("four one seven, pregnant.", PAUSES.end_pause_ms),
        # It is asked about, so there is no hurry.
        ("seven seven two, empty.", PAUSES.end_pause_ms),
        ("four one seven.", PAUSES.long_pause_ms),
    ],
)
def test_the_less_may_follow_the_sooner_it_is_over(words: str, pause_ms: float) -> None:
    listening = Listening(with_pauses(1.0, words, 2.0))
    assert len(listening.heard) == 1
    assert listening.pause_ms() == pytest.approx(pause_ms, abs=33)


def test_nothing_is_heard_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    heard: list[float] = []
    recognise = LISTENER.recognise

    def counted(utterance: Utterance, language: Language) -> Hearing:
        heard.append(utterance.end_s)
        return recognise(utterance, language)

    monkeypatch.setattr(LISTENER, "recognise", counted)
    Listening(with_pauses(1.0, "four one seven, pregnant fifty six days.", 2.0, "four one nine.", 2.0))
    assert len(heard) == len(set(heard)) <= 4


def test_twins_after_an_entry_that_ended_early_are_asked_about_soon() -> None:
    listening = Listening(with_pauses(1.0, "four one seven, pregnant fifty six days.", 0.5, "twins.", 2.0))
    first, late = listening.heard
    assert first.decision.outcome is Outcome.ACCEPTED and late.decision.outcome is Outcome.QUESTION
    assert late.decision.event.candidates[0].entry == Entry("417", Result.PREGNANT, 56, twins=True)
    assert listening.pause_ms(1) == pytest.approx(PAUSES.end_pause_ms, abs=33)


def test_words_are_told_while_they_are_said_and_are_gone_with_the_decision() -> None:
    listening = Listening(with_pauses(1.0, "four one seven, pregnant fifty six days.", 1.0), has_time=lambda: True)
    assert any(words.startswith("four one") and "days" not in words for words in listening.words)
    assert listening.words[-1].endswith("fifty six days")
    assert listening.ear.words == ""


def test_talk_is_not_shown_as_words_of_the_grammar() -> None:
    talk = "The tanker driver said he would be back on Thursday."
    listening = Listening(with_pauses(1.0, talk, 1.0), has_time=lambda: True)
    assert max((len(words.split()) for words in listening.words), default=0) <= 2
    assert listening.ear.words == ""


def test_without_time_words_are_told_at_pauses_alone_and_the_decision_is_the_same() -> None:
    samples = with_pauses(1.0, "four one seven.", 0.5, "pregnant fifty six days.", 1.0)
    hurried, unhurried = Listening(samples), Listening(samples, has_time=lambda: True)
    assert hurried.words[0] == "four one seven"
    assert [heard.decision for heard in hurried.heard] == [heard.decision for heard in unhurried.heard]


def in_one_breath(*sentences: str) -> Samples:
    """Sentences 0.25 s apart, less than ends an utterance."""
    parts: list[Samples] = [np.zeros(8000, np.float32)]
    for sentence in sentences:
        samples = spoken(sentence)
        loud = np.flatnonzero(np.abs(samples) > 0.01)
        parts += [samples[loud[0] : loud[-1]], np.zeros(4000, np.float32)]
    return np.concatenate([*parts, np.zeros(32_000, np.float32)])


def test_an_entry_in_one_breath_with_talk_is_asked_about() -> None:
    samples = in_one_breath("good girl now, move up there.", "four one seven, pregnant fifty six days.")
    (heard,) = Listening(samples).heard
    assert heard.decision.outcome is Outcome.QUESTION and heard.decision.reason == IN_ONE_BREATH
    assert heard.decision.event.candidates[0].entry == Entry("417", Result.PREGNANT, 56)
    assert not heard.day.results


def test_talk_after_a_short_pause_in_talk_stays_talk() -> None:
    samples = in_one_breath("good girl now, move up there.", "mind the gate, the vet is coming through.")
    assert [heard.decision.outcome for heard in Listening(samples).heard] == [Outcome.IGNORED]
