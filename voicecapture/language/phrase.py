"""What one utterance means: an entry, a command or an answer, read from the grammar's tokens.

Cow numbers are text: "0417" is not "417".
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum


class Result(StrEnum):
    """The three results of a pregnancy scan, in the trade's words."""

    PREGNANT = "pregnant"
    EMPTY = "empty"
    RECHECK = "recheck"


class Command(StrEnum):
    """What the vet may tell the program to do."""

    TAKE_BACK = "take_back"
    SAY_AGAIN = "say_again"
    STOP = "stop"
    GO_ON = "go_on"
    SO_FAR = "so_far"
    LEFT = "left"
    NOTE = "note"
    CORRECT = "correct"
    """"correction" with nothing after it: the next entry replaces the last."""


class Answer(StrEnum):
    """What may answer a question."""

    FIRST = "first"
    SECOND = "second"
    YES = "yes"
    NO = "no"
    NEITHER = "neither"


class Stage(StrEnum):
    """A pregnancy called early or late, without a number."""

    EARLY = "early"
    LATE = "late"


@dataclass(frozen=True, slots=True)
class Entry:
    """One cow's scan as it was spoken, or the part of it that was."""

    cow: str | None = None
    """Cow number, 1 to 5 digits, as spoken."""
    result: Result | None = None
    days: int | None = None
    """Age of the pregnancy in days (weeks are times seven)."""
    twins: bool = False
    findings: tuple[str, ...] = ()
    recheck_weeks: int | None = None
    """Weeks until the recheck."""
    stage: Stage | None = None
    crown_rump_mm: int | None = None
    """Crown-rump length of the foetus in millimetres, said instead of an age."""

    @property
    def is_whole(self) -> bool:
        """Whether both the cow and the result are there."""
        return self.cow is not None and self.result is not None

    def merged_over(self, earlier: "Entry") -> "Entry":
        """This entry with what it lacks taken from `earlier`: the cow, or all that was found in her."""
        has_outcome = self.result is not None or bool(self.findings)
        outcome = self if has_outcome else earlier
        if earlier.result is None:
            # Findings that were said before the result go with it.
            outcome = replace(outcome, findings=tuple(dict.fromkeys(earlier.findings + self.findings)))
        return replace(outcome, cow=self.cow or earlier.cow)

    def added_to(self, earlier: "Entry") -> "Entry | None":
        """`earlier` with the twins, the stage and the findings of this one; None if this one says more than these."""
        added = replace(self, twins=False, stage=None, findings=())
        if added == self or not earlier.is_whole or added not in (Entry(), Entry(result=earlier.result)):
            return None
        return replace(
            earlier,
            twins=earlier.twins or self.twins,
            stage=self.stage or earlier.stage,
            findings=tuple(dict.fromkeys(earlier.findings + self.findings)),
        )


@dataclass(frozen=True, slots=True)
class Phrase:
    """The meaning of an utterance: exactly one of `entry`, `command` and `answer` is set."""

    entry: Entry | None = None
    command: Command | None = None
    answer: Answer | None = None
    corrects: bool = False
    """The entry replaces the last one."""
    caution: str = ""
    """Why the meaning must be confirmed however clearly it was heard; empty if it need not be."""

    @property
    def is_whole(self) -> bool:
        """Whether the vet may stop here: a number without a result is usually followed by one."""
        return self.entry is None or self.entry.is_whole or (self.corrects and self.entry.cow is None)


BARE_AGE = "the age was said without days or weeks"
YES_NO = "yes or no as a result"
RESTARTED = "instead of the last result"


@dataclass(slots=True)
class _Reader:
    """Collects tokens into an entry."""

    entry: Entry = Entry()
    digits: str = ""
    days: int = 0
    is_part_said_again: bool = False
    caution: str = ""
    corrects: bool = False

    def take_number(self) -> int:
        number, self.digits = int(self.digits), ""
        return number

    def start_outcome(self, **fields: object) -> None:
        """Set outcome fields; the first of them after "sorry" forgets the outcome said before."""
        base = Entry(cow=self.entry.cow) if self.is_part_said_again else self.entry
        if self.is_part_said_again:
            self.days, self.caution = 0, ""
        self.is_part_said_again = False
        self.entry = replace(base, **fields)  # type: ignore[arg-type]

    def read(self, token: str) -> None:
        match token:
            case _ if token.isdigit():
                self.digits += token
            case "cow":
                self.entry = replace(self.entry, cow=self.digits)
                self.digits = ""
            case "days" | "weeks":
                number = self.take_number() * (7 if token == "weeks" else 1)
                again = self.is_part_said_again
                self.start_outcome(result=Result.PREGNANT)
                self.days = number if again else self.days + number
                self.entry = replace(self.entry, days=self.days)
            case "bare":
                number = self.take_number()
                # 23 weeks is beyond any early scan and 24 days before any scan sees a pregnancy.
                self.start_outcome(result=Result.PREGNANT, days=number if number >= 24 else 7 * number)
                self.caution = BARE_AGE
            case "crown_rump":
                number = self.take_number()
                self.start_outcome(result=Result.PREGNANT, crown_rump_mm=number)
            case "pregnant" | "empty" | "recheck":
                self.start_outcome(result=Result(token))
            case "yes" | "no":
                self.start_outcome(result=Result.PREGNANT if token == "yes" else Result.EMPTY)
                self.caution = YES_NO
            case "twins":
                self.start_outcome(result=Result.PREGNANT, twins=True)
            case "early" | "late":
                self.start_outcome(result=Result.PREGNANT, stage=Stage(token))
            case "recheck_weeks":
                self.entry = replace(self.entry, recheck_weeks=self.take_number())
            case "oops":
                self.is_part_said_again = True
            case "correct":
                self.corrects = True
            case "again":
                self.corrects, self.caution = True, RESTARTED
            case _:
                # Every other token is a finding, its own name or the practice's.
                self.start_outcome(findings=(*self.entry.findings, token))


RESTART = "oops"
"""The token from which an entry is said again."""
_CHANGES = frozenset(
    ("cow", "days", "weeks", "bare", "crown_rump", "empty", "recheck", "recheck_weeks", "yes", "no", "correct")
)


def is_tail(token: str) -> bool:
    """Whether a token leaves the cow, the result and the age of a whole entry as they are: twins, a finding.

    What begins with `RESTART` is a new start.
    """
    return not token.isdigit() and token not in _CHANGES


def interpret(tokens: Iterable[str]) -> Phrase:
    """Read the tokens of one sentence of `grammars/voicecapture.jsgf`.

    A lone "yes" or "no" is an answer; after a cow number it is a result.
    """
    tokens = tuple(tokens)
    if len(tokens) == 1:
        for command in Command:
            if tokens[0] == command:
                return Phrase(command=command)
        for answer in Answer:
            if tokens[0] == answer:
                return Phrase(answer=answer)
    reader = _Reader()
    for token in tokens:
        reader.read(token)
    return Phrase(entry=reader.entry, corrects=reader.corrects, caution=reader.caution)
