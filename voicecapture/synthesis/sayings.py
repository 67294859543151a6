"""What is said in the recordings: entries in every wording that the grammar knows, look-alikes, commands.

Written apart from `grammars/`, so that a mistake there shows. Texts carry commas where the speaker pauses;
`spoken_words` takes them out again.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
from num2words import num2words

Rng = np.random.Generator
Kind = Literal["entry", "unlisted", "lookalike", "talk", "command", "number", "result", "correction", "repeat"]

_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_NUMBER_WORDS = tuple(str(num2words(number)) for number in (*range(1, 20), *range(20, 100, 10)))
_RUNS_ON = ("one", "two", "ty", "hundred", "thousand")
"""Ends of spoken numbers that the number of an age may be taken to go on from."""


@dataclass(frozen=True, slots=True)
class SpokenEntry:
    """The meaning of an entry."""

    cow: str
    result: Literal["pregnant", "empty", "recheck"]
    days: int | None = None
    twins: bool = False
    findings: tuple[str, ...] = ()
    recheck_weeks: int | None = None


@dataclass(frozen=True, slots=True)
class Saying:
    """A text to be spoken and what it means."""

    text: str
    kind: Kind
    entry: SpokenEntry | None = None

    def described(self) -> dict[str, Any]:
        """The saying's part of a manifest row."""
        entry = self.entry and asdict(self.entry)
        return {"words": spoken_words(self.text), "expected": entry, "kind": self.kind}


def spoken_words(text: str) -> str:
    """The words of a text in lower case, without punctuation, one space apart."""
    return " ".join(re.findall(r"[a-z']+", text.lower()))


# ---- numbers --------------------------------------------------------------------------------------


def whole(number: int) -> str:
    """417 -> "four hundred and seventeen"."""
    return str(num2words(number)).replace("-", " ").replace(",", "")


def digit_by_digit(cow: str, rng: Rng) -> str:
    """ "4400" -> "four four zero oh", "double four oh oh" and so on."""
    words = []
    at = 0
    while at < len(cow):
        run = len(cow[at:]) - len(cow[at:].lstrip(cow[at]))
        digit = "oh" if cow[at] == "0" and rng.random() < 0.6 else _DIGITS[int(cow[at])]
        if run >= 3 and rng.random() < 0.6:
            words.append(f"triple {digit}")
            at += 3
        elif run >= 2 and rng.random() < 0.5:
            words.append(f"double {digit}")
            at += 2
        else:
            words.append(digit)
            at += 1
    return " ".join(words)


def _pair(two_digits: str) -> str:
    """ "17" -> "seventeen", "05" -> "oh five"."""
    return f"oh {_DIGITS[int(two_digits[1])]}" if two_digits[0] == "0" else whole(int(two_digits))


def cow_number(cow: str, rng: Rng) -> str:
    """One of the ways to say a cow number of one to four digits."""
    is_round_hundred = cow.endswith("00")
    match len(cow):
        case 1:
            return _DIGITS[int(cow)]
        case 2:
            return whole(int(cow)) if rng.random() < 0.65 else digit_by_digit(cow, rng)
        case 3:
            pairs = f"{_DIGITS[int(cow[0])]} {_pair(cow[1:])}"
            ways = [digit_by_digit(cow, rng), whole(int(cow)) if is_round_hundred else pairs, whole(int(cow))]
            return str(rng.choice(ways, p=[0.5, 0.3, 0.2]))
        case _:
            pairs = f"{_pair(cow[:2])} {'hundred' if is_round_hundred else _pair(cow[2:])}"
            return str(rng.choice([digit_by_digit(cow, rng), pairs, whole(int(cow))], p=[0.35, 0.4, 0.25]))


# ---- results --------------------------------------------------------------------------------------


def age(days: int, rng: Rng) -> str:
    """Days, or weeks, mostly where they come out even: 56 -> "fifty six days" or "eight weeks"."""
    weeks, over = divmod(days, 7)
    if over == 0 and 4 <= weeks <= 22 and rng.random() < 0.75:
        return f"{whole(weeks)} weeks"
    if over and 4 <= weeks <= 20 and rng.random() < 0.12:
        return f"{whole(weeks)} weeks and {whole(over)} {'day' if over == 1 else 'days'}"
    return f"{whole(days)} days"


def pregnant_lead(number: str, rng: Rng) -> str:
    """What comes before the age, at times nothing; but "forty, six weeks" would be 46 weeks of no cow."""
    lead = str(rng.choice(["pregnant ", "in calf ", ""], p=[0.5, 0.3, 0.2]))
    return lead or ("pregnant " if number.endswith(_RUNS_ON) else "")


def clear_result(number: str, result: str) -> str:
    """The result as it may follow the number, an age without lead only after three digits said one by one.

    "Six, fifty six days" might as well be cow 650 and six days: it becomes "pregnant fifty six days".
    """
    digits = number.split()
    is_three_digits = len(digits) == 3 and all(digit in (*_DIGITS, "oh") for digit in digits)
    return f"pregnant {result}" if result.startswith(_NUMBER_WORDS) and not is_three_digits else result


def outcome(cow: str, number: str, rng: Rng) -> tuple[str, SpokenEntry]:
    """A result at random, in the shares of a scanning morning but with more that is rare.

    Args:
        cow: Whose result it is.
        number: How the cow number before it was spoken.
    """
    chance = rng.random()
    if chance < 0.70:
        return _pregnancy(cow, number, rng)
    if chance < 0.90:
        text = str(rng.choice(["empty", "not in calf", "dry"], p=[0.6, 0.2, 0.2]))
        finding = str(rng.choice(["", "cystic", "infection", "lame"], p=[0.7, 0.12, 0.12, 0.06]))
        if not finding:
            return text, SpokenEntry(cow, "empty")
        return f"{text}, {finding}", SpokenEntry(cow, "empty", findings=(finding,))
    weeks = int(rng.integers(2, 7))
    if rng.random() < 0.5:
        return "recheck", SpokenEntry(cow, "recheck")
    return f"recheck in {whole(weeks)} weeks", SpokenEntry(cow, "recheck", recheck_weeks=weeks)


def _pregnancy(cow: str, number: str, rng: Rng) -> tuple[str, SpokenEntry]:
    # Six in ten in days; the others in whole weeks.
    days = int(rng.integers(25, 161)) if rng.random() < 0.6 else 7 * int(rng.integers(4, 23))
    text = f"{pregnant_lead(number, rng)}{age(days, rng)}"
    is_twins = bool(rng.random() < 0.08)
    if is_twins:
        text += str(rng.choice([" twins", ", twins", " with twins"]))
    finding = str(rng.choice(["", "dead_calf", "lame"], p=[0.94, 0.03, 0.03]))
    if not finding:
        return text, SpokenEntry(cow, "pregnant", days, is_twins)
    return f"{text}, {finding.replace('_', ' ')}", SpokenEntry(cow, "pregnant", days, is_twins, (finding,))


def entry_saying(cow: str, kind: Kind, rng: Rng) -> Saying:
    """A whole entry for a cow."""
    prefix = rng.choice(["", "cow ", "number "], p=[0.75, 0.13, 0.12])
    number = cow_number(cow, rng)
    result, entry = outcome(cow, number, rng)
    comma = "" if not result.startswith(_NUMBER_WORDS) and rng.random() < 0.25 else ","
    return Saying(f"{prefix}{number}{comma} {clear_result(number, result)}.", kind, entry)


# ---- what is easily taken for something else --------------------------------------------------------

_LOOKALIKES = (
    *((str(teen), 7 * teen, "weeks") for teen in range(13, 20)),
    *((str(10 * units), 10 * units, "days") for units in range(3, 10)),
    *(("415", 55, "days"), ("419", 59, "days"), ("455", 95, "days"), ("459", 99, "days"), ("155", 119, "days")),
    *(("159", 115, "days"), ("413", 130, "days"), ("430", 113, "days"), ("615", 150, "days"), ("650", 115, "days")),
    *(("916", 160, "days"), ("960", 116, "days"), ("217", 117, "days"), ("270", 70, "days"), ("118", 80, "days")),
    ("180", 118, "days"),
)
"""Cow, age in days, and the unit to say it in: teens against tens and five against nine, in both."""

LOOKALIKE_COWS = tuple(cow for cow, _, _ in _LOOKALIKES)


def lookalike_sayings(rng: Rng) -> list[Saying]:
    """Thirty entries one sound away from another entry, in the wordings in which they sound alike."""
    sayings = []
    for cow, days, unit in _LOOKALIKES:
        number = whole(int(cow)) if len(cow) < 3 else f"{_DIGITS[int(cow[0])]} {_pair(cow[1:])}"
        spoken_age = f"{whole(days // 7)} weeks" if unit == "weeks" else f"{whole(days)} days"
        lead = rng.choice(["pregnant ", "in calf "])
        sayings.append(Saying(f"{number}, {lead}{spoken_age}.", "lookalike", SpokenEntry(cow, "pregnant", days)))
    return sayings


# ---- everything else -------------------------------------------------------------------------------

COMMANDS = (
    *("take that back", "correction", "say again", "how many so far", "how many left", "first", "second", "neither"),
    *("take it back", "the first", "the second", "none of them", "how many to go", "how many done", "say that again"),
    *("first one", "second one", "take back the last one", "stop listening", "go on", "make a note", "say it again"),
    *("take that back", "correction", "how many left", "how many so far", "say again", "neither", "first", "second"),
)
"""Thirty commands and answers to questions."""


def bare_number(cow: str, rng: Rng) -> Saying:
    """A cow number that nothing follows."""
    return Saying(f"{cow_number(cow, rng)}.", "number")


def bare_result(rng: Rng) -> Saying:
    """A result that no cow number comes before."""
    text, _ = outcome("", "", rng)
    return Saying(f"{text}.", "result")


def draw_distinct(count: int, draw: Callable[[], Saying], taken: set[str]) -> list[Saying]:
    """`count` sayings no two of which have the same words, nor words in `taken`, which grows by theirs."""
    sayings: list[Saying] = []
    while len(sayings) < count:
        saying = draw()
        words = spoken_words(saying.text)
        if words not in taken:
            taken.add(words)
            sayings.append(saying)
    return sayings


def unlisted_cow(herd: Sequence[str], rng: Rng) -> str:
    """A number of two to four digits that no cow of the herd has."""
    while True:
        cow = str(rng.integers(21, 1000) if rng.random() < 0.85 else rng.integers(1000, 3000))
        if cow not in herd:
            return cow
