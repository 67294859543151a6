"""What a voice check says."""

from dataclasses import replace

import pytest
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint  # type: ignore[import-untyped]

from voicecapture.verdict import LINES, Said, Verdict, VoiceCheck, figures, said_words, slips, summary

RIGHT = Said("five, recheck", "five recheck", True, True, 20.0, -20.0)
ASKED = Said("five, recheck", "five recheck", True, False, 20.0, -20.0)
MISHEARD = Said("five, recheck", "nine recheck", False, False, 20.0, -20.0)
TAKEN_WRONG = Said("five, recheck", "nine recheck", False, True, 20.0, -20.0)
LOST = Said("five, recheck", "", False, False)
CLIPPED = Said("five, recheck", "five recheck", True, True, 20.0, -2.0, True)


def checked(*others: Said, of: int = LINES) -> VoiceCheck:
    """A check that is right but for some lines."""
    return VoiceCheck((*others, *[RIGHT] * (of - len(others))))


@pytest.mark.parametrize(
    ("check", "verdict"),
    [
        (checked(), Verdict.FIT),
        (checked(*[MISHEARD] * 2), Verdict.FIT),
        (checked(*[MISHEARD] * 3), Verdict.CARE),
        (checked(*[MISHEARD] * 5), Verdict.CARE),
        (checked(*[MISHEARD] * 6), Verdict.UNFIT),
        (checked(*[ASKED] * 5), Verdict.FIT),
        (checked(*[ASKED] * 6), Verdict.CARE),
        (checked(*[ASKED] * 10), Verdict.CARE),
        (checked(*[ASKED] * 11), Verdict.UNFIT),
        (checked(TAKEN_WRONG), Verdict.UNFIT),
        (checked(LOST), Verdict.CARE),
        (checked(of=19), Verdict.CARE),
        (checked(of=15), Verdict.CARE),
        (checked(of=14), Verdict.UNFIT),
        (VoiceCheck(()), Verdict.UNFIT),
    ],
)
def test_the_verdict_goes_by_lines_right_asked_taken_wrong_and_lost(check: VoiceCheck, verdict: Verdict) -> None:
    assert check.verdict is verdict


def test_the_bars_let_through_and_hold_back_as_they_say() -> None:
    """The shares in the module's first lines, by SciPy's binomial distribution."""
    assert round(100 * binom.sf(17, LINES, 0.95)) == 92
    assert round(100 * binom.sf(17, LINES, 0.75)) == 9
    assert round(10_000 * binom.cdf(14, LINES, 0.95)) == 3
    assert round(100 * binom.sf(0, LINES, 0.01)) == 18
    assert round(100 * binom.pmf(0, LINES, 0.05)) == 36


def test_below_the_least_right_the_interval_no_longer_lies_above_one_half() -> None:
    """By the Wilson interval of statsmodels."""
    assert proportion_confint(15, LINES, method="wilson")[0] > 0.5 > proportion_confint(14, LINES, method="wilson")[0]


def test_figures_carry_their_intervals() -> None:
    low, high = proportion_confint(19, LINES, method="wilson")
    told = figures(checked(MISHEARD))
    assert told[0].endswith(f"19 of 20, 95 % ({100 * low:.0f} to {100 * high:.0f})")
    assert told[1].endswith(f"1 of 20, 5 % ({100 * (1 - high):.0f} to {100 * (1 - low):.0f})")
    assert told[2].endswith("0 of 20, 0 % (0 to 16)")
    assert told[3] == "taken 19, asked 1, passed over 0; voice 20 dB over the shed"


def test_even_the_best_check_says_that_it_tells_little() -> None:
    assert summary(checked())[-1] == "Fit to use. 20 lines tell little: listen to the read-back all the same."


def test_lines_that_were_not_right_are_named_what_was_taken_wrong_first() -> None:
    assert list(slips(checked(LOST, MISHEARD, TAKEN_WRONG))) == [
        '✗ taken wrong: "five, recheck" was heard as "nine recheck"',
        '? not right: "five, recheck" was passed over',
        '? not right: "five, recheck" was heard as "nine recheck"',
    ]


@pytest.mark.parametrize(
    ("check", "words"),
    [
        (VoiceCheck(()), "Choose another microphone"),
        (checked(TAKEN_WRONG), "A wrong entry was taken"),
        (checked(*[ASKED] * 7), "it will ask often"),
        (checked(*[ASKED] * 14), "on paper"),
        (checked(of=12), "say every line"),
        (checked(LOST), "every read-back"),
    ],
)
def test_the_advice_fits_the_reason(check: VoiceCheck, words: str) -> None:
    assert words in summary(check)[-1]


def test_an_overdriven_microphone_and_a_broken_off_check_are_told() -> None:
    assert any("overdriven in 2" in line for line in figures(checked(CLIPPED, CLIPPED)))
    assert figures(checked(of=3))[-1] == "only 3 of 20 lines were said"


def test_a_headset_of_8_khz_is_told_once_most_of_it_sounds_so() -> None:
    narrow = replace(RIGHT, is_narrow=True)
    told = [any("telephone sound" in line for line in figures(checked(*[narrow] * n))) for n in (10, 11)]
    assert told == [False, True]


def test_one_line_in_words() -> None:
    assert said_words(RIGHT) == "right, taken, 20 dB"
    assert said_words(MISHEARD) == 'heard as "nine recheck", asked, 20 dB'
    assert said_words(LOST) == "passed over"
