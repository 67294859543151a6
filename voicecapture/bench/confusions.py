"""What was taken for what: said against heard, in the trade's words. Pure."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from rapidfuzz.distance import Levenshtein

from voicecapture.bench.outcomes import Outcome
from voicecapture.language.phrase import Entry
from voicecapture.reckoning.intervals import Share

_TENS = {
    "thirteen": "thirty",
    "fourteen": "forty",
    "fifteen": "fifty",
    "sixteen": "sixty",
    "seventeen": "seventy",
    "eighteen": "eighty",
    "nineteen": "ninety",
}
_TEEN_TY = frozenset(_TENS) | frozenset(_TENS.values())


@dataclass(frozen=True, slots=True)
class Confusion:
    """One way of mishearing."""

    name: str
    share: Share
    """Of the sayings in which it could happen."""
    silent: int
    """Of these, taken without asking."""


def word_pairs(said: Sequence[str], heard: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Words that were replaced, said and heard, where the fewest words are changed."""
    for edit in Levenshtein.editops(said, heard):
        if edit.tag == "replace":
            yield said[edit.src_pos], heard[edit.dest_pos]


def is_dropped(said: Entry, heard: Entry) -> bool:
    """Whether the cow number lost its first digit, or more of its beginning."""
    return bool(said.cow and heard.cow) and said.cow != heard.cow and str(said.cow).endswith(str(heard.cow))


def _pairs(outcome: Outcome) -> list[tuple[str, str]]:
    """Replaced words of a first reading that is wrong; one that is right may be worded otherwise."""
    if outcome.is_right:
        return []
    return list(word_pairs(outcome.trial.case.recording.words.split(), outcome.heard.replace("|", " ").split()))


def _entries(outcome: Outcome) -> tuple[Entry, Entry] | None:
    """What was said and what was read, if both are entries or parts of one."""
    said, first = outcome.said, outcome.first
    return (said.entry, first.entry) if said and first and said.entry and first.entry else None


def _is_among(words: frozenset[str]) -> Callable[[Outcome], bool]:
    return lambda outcome: bool(words.intersection(outcome.trial.case.recording.words.split()))


def _is_confused(*pairs: tuple[str, str]) -> Callable[[Outcome], bool]:
    either_way = {*pairs, *((b, a) for a, b in pairs)}
    return lambda outcome: not either_way.isdisjoint(_pairs(outcome))


def _can_drop(outcome: Outcome) -> bool:
    entry = outcome.said.entry if outcome.said else None
    return entry is not None and len(entry.cow or "") > 1


def _has_dropped(outcome: Outcome) -> bool:
    entries = _entries(outcome)
    return entries is not None and is_dropped(*entries)


_KINDS: tuple[tuple[str, Callable[[Outcome], bool], Callable[[Outcome], bool]], ...] = (
    ("a teen and its ten", _is_among(_TEEN_TY), _is_confused(*_TENS.items())),
    ("sixteen and sixty", _is_among(frozenset({"sixteen", "sixty"})), _is_confused(("sixteen", "sixty"))),
    ("five and nine", _is_among(frozenset({"five", "nine"})), _is_confused(("five", "nine"))),
    ("first digit dropped", _can_drop, _has_dropped),
)
"""Name, where it can happen, where it did."""


def confusions(outcomes: Iterable[Outcome]) -> list[Confusion]:
    """The trade's confusions in first readings, taken or asked."""
    spoken = [outcome for outcome in outcomes if outcome.said is not None]
    found = []
    for name, can_happen, happened in _KINDS:
        possible = [outcome for outcome in spoken if can_happen(outcome)]
        confused = [outcome for outcome in possible if happened(outcome)]
        silent = sum(outcome.is_taken_wrong for outcome in confused)
        found.append(Confusion(name, Share(len(confused), len(possible)), silent))
    return found


def common_pairs(outcomes: Iterable[Outcome], most: int = 10) -> list[tuple[str, str, int]]:
    """The words most often taken for others in wrong first readings: said, heard, how often."""
    counts = Counter(pair for outcome in outcomes if outcome.said is not None for pair in _pairs(outcome))
    ranked = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return [(said, heard, count) for (said, heard), count in ranked[:most]]
