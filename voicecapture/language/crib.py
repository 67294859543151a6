"""Everything that can be said, for people to read, made from the grammar itself."""

from dataclasses import dataclass

from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import jsgf


@dataclass(frozen=True, slots=True)
class Section:
    """What can be said of one thing."""

    title: str
    sayings: tuple[str, ...]
    """NUMBER stands for any number; what is in brackets may be left out; strokes part what may be said instead."""


_SECTIONS = (
    ("The cow", ("cow",)),
    ("In calf", ("pregnant", "age", "length", "twins", "early_or_late")),
    ("Empty", ("not_pregnant",)),
    ("Look again", ("recheck",)),
    ("In a yes/no scan", ("yes_or_no",)),
    ("Findings", ("finding",)),
    ("Putting it right at once", ("sorry",)),
    ("Correcting the last entry", ("correcting", "restarting")),
    ("Commands", ("command",)),
    ("Answers to a question", ("answer",)),
)
_NUMBERS = frozenset({"number", "count", "one_to_nine"})
_SHORT = {"said": "ENTRY", "outcome": "RESULT"}


def crib(grammar: Grammar) -> tuple[Section, ...]:
    """The crib sheet: the grammar's rules in the order in which they are needed."""
    return tuple(
        Section(title, tuple(s for rule in rules for s in _alternatives(grammar.rules[rule], grammar)))
        for title, rules in _SECTIONS
    )


def _alternatives(node: object, grammar: Grammar) -> list[str]:
    """Each alternative at the top of a rule, as one saying."""
    children = list(node.children) if isinstance(node, jsgf.AlternativeSet) else [node]
    sayings = [_pattern(child, grammar) for child in children]
    return [_bare(saying).replace("_", " ") for saying in sayings if saying]


def _bare(saying: str) -> str:
    """Without brackets around the whole of it."""
    inner = saying[1:-1]
    return inner if saying.startswith("(") and saying.endswith(")") and "(" not in inner.split(")")[0] else saying


def _pattern(node: object, grammar: Grammar) -> str:
    """An expansion as a person writes it; empty where nothing can be said."""
    if isinstance(node, jsgf.Literal):
        return str(node.text)
    if isinstance(node, jsgf.VoidRef):
        return ""
    if isinstance(node, jsgf.NamedRuleRef):
        if node.name in _NUMBERS:
            return "NUMBER"
        return _SHORT.get(node.name) or _pattern(grammar.rules[node.name], grammar)
    parts = [part for child in node.children if (part := _pattern(child, grammar))]  # type: ignore[attr-defined]
    if isinstance(node, jsgf.AlternativeSet):
        return f"({' / '.join(dict.fromkeys(parts))})" if len(parts) > 1 else "".join(parts)
    text = " ".join(parts)
    if isinstance(node, jsgf.OptionalGrouping):
        return f"[{_bare(text)}]"
    return text
