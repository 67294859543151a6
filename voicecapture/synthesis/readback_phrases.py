"""Writes down how the read-back's phrases are pronounced, so that a day needs no dictionary.

    python -m voicecapture.synthesis.readback_phrases

What is said comes from the modules that say it: each run of words between the names and numbers in their texts is
a phrase, because "the" or "in" sounds different before different words.
"""

import ast
import inspect
import json
import re
from collections.abc import Iterator
from itertools import chain
from types import ModuleType

from hibari.g2p import G2P

from voicecapture import bars, day, decision, offers, readback, reads, reasons, session
from voicecapture.language import phrase
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.numbers import say_number
from voicecapture.voice import PHRASES

_SPEAKING: tuple[ModuleType, ...] = (bars, day, decision, offers, phrase, readback, reads, reasons, session)


def phrases() -> set[str]:
    """All that the read-back is made of."""
    numbers = set(chain.from_iterable(say_number(number).split() for number in range(1000)))
    weeks = (f"in {number}" for number in numbers)
    meanings = (token.replace("_", " ") for arc in load_grammar().arcs for token in arc.tokens)
    texts = chain.from_iterable(map(_texts, _SPEAKING))
    plain = re.compile(r"[A-Za-z][A-Za-z' -]*")
    return {
        found for found in {*numbers, *weeks, *meanings, "hundred and", "weeks", *texts} if plain.fullmatch(found)
    }


def _texts(module: ModuleType) -> Iterator[str]:
    """Runs of words in the texts of a module, without what stands between them."""
    tree = ast.parse(inspect.getsource(module))
    comments = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in comments:
            yield from (run.strip() for run in re.split(r"[,.:?]", node.value))


def main() -> None:
    """Write the phrases."""
    pronounce = G2P()
    known = {found: pronounce(found) for found in sorted(phrases())}
    PHRASES.write_text(json.dumps(known, ensure_ascii=False, indent=0) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
