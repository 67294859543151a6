"""Text from outside stays text: a name in a list or a database never steers a terminal or turns a line round."""

import re

_STEERING = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f"  # controls of a terminal, escape sequences among them
    "\u2028\u2029"  # line and paragraph separators
    "\u202a-\u202e\u2066-\u2069"  # embeddings, overrides and isolates, which show 417 as 714
    "\ud800-\udfff]"  # half characters, which no file or terminal takes
)
_LONGEST_SHOWN = 40
_REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


def visible(text: str) -> str:
    """A text with U+FFFD for everything that would steer a terminal; line ends stay."""
    # Nearly all of a season's text is.
    return text if text.isprintable() else _STEERING.sub(_REPLACEMENT, text)


def one_line(text: str) -> str:
    """A name or a remark, as `visible`; line ends are replaced too."""
    return visible(text).replace("\n", _REPLACEMENT)


def shown(text: str) -> str:
    """What was found, short enough for a message and in one line."""
    return one_line(text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…")
