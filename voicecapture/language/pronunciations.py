"""How words are said: phones, and the file that lists them."""

from pathlib import Path

from voicecapture.errors import GrammarError
from voicecapture.plain_text import shown

Phones = tuple[str, ...]

PHONES = frozenset(
    [
        "AA",
        "AE",
        "AH",
        "AO",
        "AW",
        "AY",
        "B",
        "CH",
        "D",
        "DH",
        "EH",
        "ER",
        "EY",
        "F",
        "G",
        "HH",
        "IH",
        "IY",
        "JH",
        "K",
        "L",
        "M",
        "N",
        "NG",
        "OW",
        "OY",
        "P",
        "R",
        "S",
        "SH",
        "T",
        "TH",
        "UH",
        "UW",
        "V",
        "W",
        "Y",
        "Z",
        "ZH",
    ]
)
"""ARPAbet as in CMUdict, without stress."""


def read_phones(text: str, where: str) -> Phones:
    """Read phones separated by spaces.

    Raises:
        GrammarError: If there are none, or one is not in ARPAbet; `where` begins the message.
    """
    phones = tuple(text.split())
    wrong = [phone for phone in phones if phone not in PHONES]
    if wrong or not phones:
        found = f"'{shown(wrong[0])}'" if wrong else "no phones"
        raise GrammarError(f"{where}: found {found}; expected ARPAbet phones such as 'F AO R'. Correct the line.")
    return phones


def read_pronunciations(path: Path) -> dict[str, tuple[Phones, ...]]:
    """Read a CMUdict-style file: a word and its ARPAbet phones on each line, `;;;` begins a comment.

    Raises:
        GrammarError: If the file is missing or a line is not a word and phones.
    """
    table: dict[str, list[Phones]] = {}
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise GrammarError(f"{path}: cannot be read ({error.strerror}). Reinstall voicecapture.") from error
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.startswith(";;;"):
            continue
        word, *phones = line.split()
        table.setdefault(word.lower(), []).append(read_phones(" ".join(phones), f"{path}:{number}"))
    return {word: tuple(forms) for word, forms in table.items()}
