"""Letters and figures five rows high, to be read from three metres. Pure."""

_GLYPHS = {
    "0": ("▄███▄", "██ ██", "██ ██", "██ ██", "▀███▀"),
    "1": (" ▄██ ", "████ ", "  ██ ", "  ██ ", "▄████"),
    "2": ("▄███▄", "▀▀ ██", " ▄██▀", "██▀  ", "█████"),
    "3": ("▄███▄", "▀▀ ██", " ███ ", "▄▄ ██", "▀███▀"),
    "4": ("██ ██", "██ ██", "▀████", "   ██", "   ██"),
    "5": ("█████", "██   ", "████▄", "▄▄ ██", "▀███▀"),
    "6": ("▄███▄", "██ ▀▀", "████▄", "██ ██", "▀███▀"),
    "7": ("█████", "▀▀ ██", "  ██▀", " ██▀ ", " ██  "),
    "8": ("▄███▄", "██ ██", " ███ ", "██ ██", "▀███▀"),
    "9": ("▄███▄", "██ ██", "▀████", "▄▄ ██", "▀███▀"),
    "A": ("▄███▄", "██ ██", "█████", "██ ██", "██ ██"),
    "C": ("▄████", "██   ", "██   ", "██   ", "▀████"),
    "E": ("█████", "██   ", "████ ", "██   ", "█████"),
    "F": ("█████", "██   ", "████ ", "██   ", "██   "),
    "H": ("██ ██", "██ ██", "█████", "██ ██", "██ ██"),
    "I": ("██", "██", "██", "██", "██"),
    "K": ("██ ▄█▀", "██▄█▀ ", "███   ", "██▀█▄ ", "██ ▀█▄"),
    "L": ("██   ", "██   ", "██   ", "██   ", "█████"),
    "M": ("██▄ ▄██", "███████", "██ █ ██", "██   ██", "██   ██"),
    "N": ("██▄ ██", "███ ██", "██▀███", "██ ▀██", "██  ██"),
    "P": ("████▄", "██ ██", "████▀", "██   ", "██   "),
    "R": ("████▄", "██ ██", "████▀", "██ █▄", "██ ██"),
    "T": ("██████", "  ██  ", "  ██  ", "  ██  ", "  ██  "),
    "Y": ("██  ██", "▀█▄▄█▀", "  ██  ", "  ██  ", "  ██  "),
    "?": ("▄███▄", "▀▀ ██", " ▄██▀", " ▀▀  ", " ██  "),
    "✓": ("      ▄█", "     ▄█▀", "█▄  ▄█▀ ", "▀█▄▄█▀  ", " ▀██▀   "),
    "✗": ("█▄  ▄█", "▀█▄▄█▀", "  ██  ", "▄█▀▀█▄", "█▀  ▀█"),
    "/": ("  ▄█", "  ██", " ██ ", "██  ", "█▀  "),
    " ": (" ", " ", " ", " ", " "),
}
_TWICE = {"█": ("██", "██"), "▄": ("  ", "██"), "▀": ("██", "  "), " ": ("  ", "  ")}
"""A cell at twice the size: its upper and its lower half."""


def width(text: str) -> int:
    """Columns that a text takes in large letters."""
    return sum(len(_GLYPHS[letter][0]) + 1 for letter in text) - 1 if text else 0


def large(text: str, scale: int = 1) -> str:
    """A text in large letters, `5 * scale` lines; `scale` is 1 or 2.

    Raises:
        KeyError: If there is no such letter: there are the figures, and the letters of the three results.
    """
    rows = [" ".join(_GLYPHS[letter][row] for letter in text) for row in range(5)]
    if scale == 2:
        rows = ["".join(_TWICE[cell][half] for cell in row) for row in rows for half in (0, 1)]
    return "\n".join(rows)


def fitting(choices: list[str], columns: int) -> tuple[str, int]:
    """The first choice that fits, and its scale: twice the size where the first choice fits so; else no text."""
    if 2 * width(choices[0]) <= columns:
        return choices[0], 2
    return next((text for text in choices if width(text) <= columns), ""), 1
