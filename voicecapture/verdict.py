"""What a voice check says about a voice, a microphone and a shed: figures with their intervals, and a verdict. Pure.

Twenty lines tell little, so each bar is set by what its mistake costs. By the binomial distribution, with
chances near those of the bench's voices for comparison (95 % of the entries right at 10 dB, 90 % at 5 dB):

- `_FIT_RIGHT`: a voice of which 95 % is heard right reaches 18 of 20 in 92 of 100 checks, one of 75 % in 9.
- `_LEAST_RIGHT`: below 15 of 20 the 95 % interval no longer lies above one half; a voice of 95 % falls below it in 3
  of 10,000 checks.
- `_MOST_ASKED`, `_USELESS_ASKED`: a question is safe but takes the time of a cow.
- One line taken although wrong is one too many. Where no more than 1 in 100 lines is taken wrong, which is what
  `wrong_costs` allows, a check shows one at most 18 times in 100. The other way round it says less: where 5 in 100
  are taken wrong, 36 of 100 checks show none. So "fit" never means that the read-back can be left unheard.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

from voicecapture.reckoning.intervals import Share
from voicecapture.report.wording import written_share

LINES = 20
"""Lines of a whole check."""
_FIT_RIGHT, _LEAST_RIGHT = 18, 15
_MOST_ASKED, _USELESS_ASKED = 5, 10
"""More questions than this of twenty hold up a race; more than this, and paper is quicker."""


@dataclass(frozen=True, slots=True)
class Said:
    """One line of the check and what was made of it."""

    phrase: str
    heard: str
    """Empty if it was passed over."""
    is_right: bool
    """The first reading is what was to be said."""
    is_taken: bool
    """It would have been taken without asking."""
    snr_db: float | None = None
    """Estimated signal-to-noise ratio; None of what was passed over."""
    voice_dbfs: float | None = None
    """Level of the voice, dB relative to full scale; None of what was passed over."""
    is_clipped: bool = False
    is_narrow: bool = False
    """It came through a line of 8 kHz."""

    @property
    def is_lost(self) -> bool:
        """It was said in vain."""
        return not self.heard


class Verdict(StrEnum):
    """What a check advises."""

    FIT = "fit to use"
    CARE = "use with care"
    UNFIT = "do not rely on it today"


@dataclass(frozen=True, slots=True)
class VoiceCheck:
    """One check, whole or broken off."""

    said: Sequence[Said]
    checked_at: str = ""
    """UTC, as in ISO 8601; empty if it was not made for a day."""

    @property
    def right(self) -> Share:
        """Lines that were heard right."""
        return Share(sum(s.is_right for s in self.said), len(self.said))

    @property
    def wrong(self) -> Share:
        """The estimated error: lines of which the first reading was another or none."""
        return Share(len(self.said) - self.right.count, len(self.said))

    @property
    def taken_wrong(self) -> Share:
        """Lines taken without asking although wrong."""
        return Share(sum(s.is_taken and not s.is_right for s in self.said), len(self.said))

    @property
    def taken(self) -> int:
        """Lines taken without asking."""
        return sum(s.is_taken for s in self.said)

    @property
    def lost(self) -> int:
        """Lines passed over."""
        return sum(s.is_lost for s in self.said)

    @property
    def asked(self) -> int:
        """Lines that would have been asked about."""
        return len(self.said) - self.taken - self.lost

    @property
    def snr_db(self) -> float | None:
        """Median of the estimated signal-to-noise ratios; None if nothing was heard."""
        heard = [s.snr_db for s in self.said if s.snr_db is not None]
        return median(heard) if heard else None

    @property
    def clipped(self) -> int:
        """Lines in which the microphone was overdriven."""
        return sum(s.is_clipped for s in self.said)

    @property
    def is_narrow(self) -> bool:
        """Whether most of it came through a line of 8 kHz."""
        return 2 * sum(s.is_narrow for s in self.said) > len(self.said)

    @property
    def verdict(self) -> Verdict:
        """By the bars above."""
        not_right = self.wrong.count + LINES - len(self.said)
        if self.taken_wrong.count or not_right > LINES - _LEAST_RIGHT or self.asked > _USELESS_ASKED:
            return Verdict.UNFIT
        if not_right > LINES - _FIT_RIGHT or self.asked > _MOST_ASKED or self.lost or len(self.said) < LINES:
            return Verdict.CARE
        return Verdict.FIT


def said_words(said: Said) -> str:
    """What was made of one line: "right, taken, 18 dB"."""
    if said.is_lost:
        return "passed over"
    what = "right" if said.is_right else f'heard as "{said.heard}"'
    return f"{what}, {'taken' if said.is_taken else 'asked'}, {said.snr_db:.0f} dB"


def figures(check: VoiceCheck) -> list[str]:
    """The figures of a check, a line each; shares with their 95 % intervals (Wilson)."""
    if not check.said:
        return ["nothing was heard: is it the right microphone, and is it on?"]
    lines = [
        f"heard right       {written_share(check.right)}",
        f"estimated error   {written_share(check.wrong)}",
        f"taken wrong       {written_share(check.taken_wrong)}",
        f"taken {check.taken}, asked {check.asked}, passed over {check.lost}"
        + (f"; voice {check.snr_db:.0f} dB over the shed" if check.snr_db is not None else ""),
    ]
    if check.clipped:
        lines.append(f"overdriven in {check.clipped}: lower its level or move it from the mouth")
    if check.is_narrow:
        lines.append("telephone sound, nothing above 4 kHz: set the headset to wide band, or use another")
    if len(check.said) < LINES:
        lines.append(f"only {len(check.said)} of {LINES} lines were said")
    return lines


def advice(check: VoiceCheck) -> str:
    """What to do about it, in a sentence."""
    if not check.said:
        return "Choose another microphone: voicecapture listen --list-devices names them."
    if check.taken_wrong.count:
        return "A wrong entry was taken: check again, closer to the mouth and slower, before anything is left to it."
    if check.verdict is not Verdict.FIT and len(check.said) < LINES:
        return "Check again and say every line."
    if check.verdict is Verdict.UNFIT:
        return "Move the microphone to the mouth or away from the pump and check again, or write on paper."
    if check.asked > _MOST_ASKED:
        return "Safe, but it will ask often: move the microphone closer to the mouth, or away from the pump."
    if check.verdict is Verdict.CARE:
        return "Listen to every read-back, and look through the sheet at the desk."
    return f"{LINES} lines tell little: listen to the read-back all the same."


def slips(check: VoiceCheck) -> Iterator[str]:
    """The lines that were not heard right, a line each, what was taken wrong first."""
    for said in sorted(check.said, key=lambda s: not s.is_taken):
        if not said.is_right:
            became = "passed over" if said.is_lost else f'heard as "{said.heard}"'
            yield f'{"✗ taken wrong" if said.is_taken else "? not right"}: "{said.phrase}" was {became}'


def summary(check: VoiceCheck) -> list[str]:
    """Figures, slips, verdict and advice, a line each, where there is no screen."""
    return [*figures(check), *slips(check), f"{check.verdict.capitalize()}. {advice(check)}"]
