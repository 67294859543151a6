"""Reads `grammars/` into a network of words.

The grammar is written in JSGF (JSpeech Grammar Format) and read by pyjsgf. Arcs are built from the end of a
sentence to its start, so that equal endings are shared.
"""

import math
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

with warnings.catch_warnings():
    # pyjsgf 1.9.0 calls pyparsing by names that are deprecated but kept.
    warnings.simplefilter("ignore")
    import jsgf as jsgf

from voicecapture.errors import GrammarError
from voicecapture.language.grammar import Arc, Grammar, Tokens
from voicecapture.language.pronunciations import Phones, read_pronunciations

_SHIPPED = Path(__file__).parents[1] / "grammars"
_CHECKED_OUT = Path(__file__).parents[2] / "grammars"
GRAMMARS = _SHIPPED if _SHIPPED.is_dir() else _CHECKED_OUT
"""Folder of the grammar files: inside the installed package, or beside it in a checkout."""


@dataclass
class _Builder:
    """Turns JSGF expansions into arcs, from the end of the sentence to its start."""

    rules: Mapping[str, object]
    arcs: list[Arc] = field(default_factory=list)
    built: dict[tuple[str, int], int] = field(default_factory=dict)
    states: int = 1
    """State 0 is the end of every sentence."""

    def new_state(self) -> int:
        self.states += 1
        return self.states - 1

    def step(self, target: int, word: str | None = None, tokens: Tokens = (), log_weight: float = 0.0) -> int:
        source = self.new_state()
        self.arcs.append(Arc(source, target, word, tokens, log_weight))
        return source

    def rule(self, name: str, target: int) -> int:
        """The state from which rule `name` leads to `target`; built once for each target."""
        key = (name, target)
        if key not in self.built:
            if name not in self.rules:
                raise GrammarError(f"grammars/: the rule <{name}> is used but not defined. Define it.")
            self.built[key] = self.expansion(self.rules[name], target)
        return self.built[key]

    def expansion(self, node: object, target: int) -> int:
        tag: str = getattr(node, "tag", "")
        tokens = (tag,) if tag else ()
        if isinstance(node, jsgf.Literal):
            words = node.text.lower().split()
            # The tokens of a word are due when it begins, so that a search can follow a meaning.
            state = target
            for i, word in reversed(list(enumerate(words))):
                state = self.step(state, word, tokens if i == 0 else ())
            return state
        if tokens:
            target = self.step(target, tokens=tokens)
        if isinstance(node, jsgf.NamedRuleRef):
            return self.rule(node.name, target)
        if isinstance(node, jsgf.VoidRef):  # nothing can be said here
            return self.new_state()
        children = list(node.children)  # type: ignore[attr-defined]
        if isinstance(node, jsgf.AlternativeSet):
            weights = node.weights or {}
            source = self.new_state()
            for child in children:
                weight = math.log(weights.get(child, 1.0))
                self.arcs.append(Arc(source, self.expansion(child, target), None, (), weight))
            return source
        if isinstance(node, jsgf.OptionalGrouping):
            source = self.new_state()
            self.arcs.append(Arc(source, target, None, (), 0.0))
            for child in children:
                self.arcs.append(Arc(source, self.expansion(child, target), None, (), 0.0))
            return source
        if isinstance(node, jsgf.Sequence | jsgf.RequiredGrouping):
            for child in reversed(children):
                target = self.expansion(child, target)
            return target
        raise GrammarError(f"grammars/: {node} cannot be used; the grammar must be finite. Write it out.")


def _without_dead_ends(arcs: list[Arc], end: int) -> tuple[Arc, ...]:
    """The arcs from which a sentence can still end. Arcs are built backwards, so one pass is enough."""
    alive = {end}
    kept = []
    for arc in arcs:
        if arc.target in alive:
            alive.add(arc.source)
            kept.append(arc)
    return tuple(kept)


@lru_cache(maxsize=2)
def _rules(text: str) -> Mapping[str, Any]:
    """The expansions of the rules by name. Parsing takes a third of a second, and check and day both ask for it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return {rule.name: rule.expansion for rule in jsgf.parse_grammar_string(text).rules}


def load_grammar(
    folder: Path = GRAMMARS, practice_findings: Mapping[str, tuple[Phones, ...]] | None = None
) -> Grammar:
    """Read the grammar and its pronunciations.

    Args:
        folder: Holds `voicecapture.jsgf` and `pronunciations.dict`.
        practice_findings: The practice's own findings and how they are said. A finding of several words
            is one word to the grammar, joined by underscores.

    Raises:
        GrammarError: If a file is missing or wrong, a word has no pronunciation, or a finding of the practice has the
            name of something that can be said already.
    """
    path = folder / "voicecapture.jsgf"
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise GrammarError(f"{path}: cannot be read ({error.strerror}). Reinstall voicecapture.") from error
    findings = practice_findings or {}
    own = " | ".join(f"{name} {{{name}}}" for name in findings)
    text += f"\n<practice_finding> = {own or '<VOID>'};\n"
    try:
        rules = _rules(text)
    except Exception as error:  # pyjsgf raises its own and pyparsing's exceptions alike
        raise GrammarError(f"{path}: not a JSGF grammar ({error}). Mend the line.") from error
    builder = _Builder(rules)
    start = builder.rule("utterance", 0)
    pronunciations = read_pronunciations(folder / "pronunciations.dict")
    for name in findings:
        if name in pronunciations or any(name in arc.tokens for arc in builder.arcs if arc.word != name):
            # Taken for the word of that name: a finding called "empty" would be the result.
            raise GrammarError(
                f"settings: finding '{name}' is a word of the grammar already; expected a name of its own. Rename it."
            )
    pronunciations.update(findings)
    grammar = Grammar(_without_dead_ends(builder.arcs, end=0), start, 0, pronunciations, rules)
    for word in grammar.words:
        if word not in pronunciations:
            raise GrammarError(
                f"{folder / 'pronunciations.dict'}: no pronunciation for '{word}', a word of the grammar. "
                "Add a line: the word, two spaces, its phones."
            )
    return grammar
