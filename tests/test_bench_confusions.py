"""What was taken for what, in the trade's words."""

from collections.abc import Sequence
from dataclasses import replace

import jiwer
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.bench_trials import PREGNANT, heard, recording, trial
from voicecapture.bars import DecisionSettings
from voicecapture.bench.confusions import common_pairs, confusions, is_dropped, word_pairs
from voicecapture.bench.outcomes import Outcome, judge
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result

HERD = Herd([Animal("417"), Animal("16"), Animal("60")])
WORDS = st.lists(st.sampled_from(["five", "nine", "sixteen", "sixty", "pregnant"]), min_size=1, max_size=6)


def outcome(said: str, entry: Entry, heard_words: str, read: Entry, probability: float = 0.999) -> Outcome:
    return judge(trial(recording(said, entry), heard(read, probability, heard_words)), HERD, DecisionSettings())


def counts(*found: Outcome) -> dict[str, tuple[int, int, int]]:
    """How often, of how many, and how often silently."""
    return {c.name: (c.share.count, c.share.of, c.silent) for c in confusions(found)}


@given(WORDS, WORDS)
def test_as_many_words_are_replaced_as_jiwer_says_at_most(said: Sequence[str], heard_words: Sequence[str]) -> None:
    """Word errors by jiwer; of several shortest alignments each may choose its own, so only totals are alike."""
    measured = jiwer.process_words(" ".join(said), " ".join(heard_words))
    errors = measured.substitutions + measured.deletions + measured.insertions
    pairs = list(word_pairs(said, heard_words))
    assert len(pairs) <= errors
    assert all(a != b and a in said and b in heard_words for a, b in pairs)
    if len(said) == len(heard_words) and measured.deletions == 0:
        assert len(pairs) <= measured.substitutions


@pytest.mark.parametrize(
    ("said", "heard_words"),
    [
        ("four seventeen pregnant fifty six days", "four seventy pregnant fifty six days"),
        ("nine empty", "five empty"),
        ("sixteen pregnant fifty days", "sixty pregnant fifteen days"),
    ],
)
def test_replaced_words_are_those_of_jiwer(said: str, heard_words: str) -> None:
    a, b = said.split(), heard_words.split()
    (alignment,) = jiwer.process_words(said, heard_words).alignments
    replaced = [
        (a[chunk.ref_start_idx + n], b[chunk.hyp_start_idx + n])
        for chunk in alignment
        if chunk.type == "substitute"
        for n in range(chunk.ref_end_idx - chunk.ref_start_idx)
    ]
    assert list(word_pairs(a, b)) == replaced


def test_a_teen_heard_as_its_ten_is_counted_among_sayings_with_either() -> None:
    said, sixteen, sixty = "sixteen empty", Entry("16", Result.EMPTY), Entry("60", Result.EMPTY)
    found = counts(
        outcome(said, sixteen, "sixteen empty", sixteen),
        outcome(said, sixteen, "sixty empty", sixty),
        outcome("sixty empty", sixty, "sixteen empty", sixteen, probability=0.9),
        outcome("four one seven", PREGNANT, "four one seven", PREGNANT),
    )
    assert found["a teen and its ten"] == (2, 3, 1)
    assert found["sixteen and sixty"] == (2, 3, 1)


def test_five_and_nine_are_counted_either_way() -> None:
    five, nine = Entry("5", Result.EMPTY), Entry("9", Result.EMPTY)
    found = counts(
        outcome("five empty", five, "nine empty", nine),
        outcome("nine empty", nine, "five empty", five),
        outcome("nine empty", nine, "nine empty", nine),
    )
    assert found["five and nine"] == (2, 3, 0)  # neither cow is in the herd, so that both are asked about
    assert found["first digit dropped"] == (0, 0, 0)


def test_a_number_that_lost_its_beginning_has_dropped_digits() -> None:
    found = counts(
        outcome("four sixteen empty", Entry("416", Result.EMPTY), "sixteen empty", Entry("16", Result.EMPTY)),
        outcome("four one seven empty", Entry("417", Result.EMPTY), "empty", Entry("417", Result.EMPTY)),
    )
    assert found["first digit dropped"] == (1, 2, 1)


def test_only_the_end_of_a_number_is_what_dropping_leaves() -> None:
    assert is_dropped(Entry("860"), Entry("60"))
    assert not is_dropped(Entry("860"), Entry("86"))
    assert not is_dropped(Entry("860"), Entry("860"))
    assert not is_dropped(Entry("60"), Entry("860"))
    assert not is_dropped(Entry("860"), Entry(result=Result.EMPTY))


def test_another_wording_of_the_same_entry_is_no_confusion() -> None:
    right = outcome(
        "four seventeen in calf eight weeks", PREGNANT, "four one seven pregnant fifty six days", PREGNANT
    )
    assert common_pairs([right]) == []


def test_the_commonest_pairs_come_first() -> None:
    wrong = replace(PREGNANT, days=59)
    nine = outcome("four one seven fifty five days", PREGNANT, "four one seven fifty nine days", wrong)
    oh = outcome("oh one seven fifty five days", PREGNANT, "two one seven fifty nine days", wrong)
    assert common_pairs([nine, oh]) == [("five", "nine", 2), ("oh", "two", 1)]
    assert common_pairs([nine, oh], most=1) == [("five", "nine", 2)]
