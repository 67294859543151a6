"""Accents that no kokoro speaker has, made by rules on the phonemes that drive it.

The rules follow the vowels of J. C. Wells, Accents of English (1982), volumes 2 and 3 (from memory): broad
strokes of how numbers and results sound, not a description of how anybody speaks. The alphabet is kokoro's:
A, I, W, O and Q are the vowels of "eight", "nine", "now" and, American and British, "oh"; T is the tap.
"""

import re
from typing import Literal

Accent = Literal["american", "british", "new-zealand", "australian", "irish", "scottish"]

_RHOTIC: tuple[Accent, ...] = ("american", "irish", "scottish")

_RULES: dict[Accent, dict[str, str]] = {
    "american": {},
    "british": {},
    # "Six" with the vowel of "the", "ten" near "tin", "calf" far forward.
    "new-zealand": {
        "ɪə": "ɪə",
        "ɪ": "ə",
        "ɛ": "ɪ",
        "ɑː": "aː",
        "A": "æɪ",
        "I": "ɒɪ",
        "Q": "ɐʊ",
    },
    # "Eight" towards "ight", "nine" towards "noin", "three" with a glide, "calf" far forward.
    "australian": {"A": "æɪ", "I": "ɑɪ", "Q": "ɐʊ", "iː": "ɪi", "ɑː": "aː", "W": "æɔ"},
    # "Three" as "tree", "eight" and "oh" without a glide, "hundred" with the vowel of "put", "nine" rounded.
    "irish": {"θ": "t", "ð": "d", "A": "eː", "O": "oː", "ʌ": "ʊ", "I": "əɪ", "T": "t"},
    # Trilled r, "eight" and "oh" without a glide, "thirty" with the vowel of "ten", "two" short and forward.
    "scottish": {"ɹ": "ɾ", "ɜɹ": "ɛɾ", "A": "e", "O": "o", "u": "y", "I": "ʌɪ", "W": "ʌʊ", "T": "t", "ɪ": "ɛ"},
}


def is_rhotic(accent: Accent) -> bool:
    """Whether the accent keeps r after vowels, and so starts from American phonemes rather than British."""
    return accent in _RHOTIC


def accented(phonemes: str, accent: Accent) -> str:
    """Phonemes of the base accent (see `is_rhotic`) as the accent has them."""
    rules = _RULES[accent]
    if not rules:
        return phonemes
    # One pass with the longest rules first, so that no rule changes what another has made.
    pattern = "|".join(sorted(map(re.escape, rules), key=len, reverse=True))
    return re.sub(pattern, lambda found: rules[found.group()], phonemes)
