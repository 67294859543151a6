"""Damaged and hostile input for tests, and the one way in which the program may refuse it.

    VOICECAPTURE_FUZZ_EXAMPLES=2000 pytest tests/test_fuzz.py

looks longer than the default run does.
"""

import os
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from voicecapture.errors import VoiceCaptureError

EXAMPLES = int(os.environ.get("VOICECAPTURE_FUZZ_EXAMPLES", "12"))
_LONGEST = timedelta(seconds=10)
_LONGEST_LINE = 1200
"""Letters that a line of a message may have, a long path in it too."""
_BYTES = st.sampled_from([b"\0", b"\xff", b"\x7f", b"\x80", b"\n", b"\xff" * 4, b"\x7f\xff\xff\xff", b"\0" * 8])
Edit = tuple[str, float, float, bytes]
EDITS: st.SearchStrategy[list[Edit]] = st.lists(
    st.tuples(
        st.sampled_from(["write", "insert", "remove", "repeat", "cut"]),
        st.floats(0, 1),
        st.floats(0, 1),
        _BYTES | st.binary(min_size=1, max_size=6),
    ),
    min_size=1,
    max_size=6,
)

STEERING = ["\x1b[2J", "\x1b]0;title\x07", "\x9b31m", "\x00", "\r", "\n", "\u202e714", "\u2066", "\u2028", "\x7f"]
"""What steers a terminal, breaks a line or turns text round."""
HOSTILE = [
    *("<script>alert(1)</script>", '"><img src=x onerror=1>', "=cmd|' /C calc'!A0", "@SUM(1)", "'; drop--"),
    *STEERING,
]


def fuzzed(examples: int = EXAMPLES) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Settings of a test on damaged input: no example may take longer than ten seconds."""
    return settings(
        max_examples=examples,
        deadline=_LONGEST,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
    )


def damaged(data: bytes, edits: list[Edit]) -> bytes:
    """Bytes with some of them written over, inserted, removed, repeated or cut off."""
    for kind, place, length, new in edits:
        at = int(place * len(data))
        # Most edits are near the beginning of what they damage, where headers are.
        end = at + 1 + int(length**4 * (len(data) - at))
        match kind:
            case "write":
                data = data[:at] + new + data[at + len(new) :]
            case "insert":
                data = data[:at] + new + data[at:]
            case "remove":
                data = data[:at] + data[end:]
            case "repeat":
                data = data[:end] + data[at:end] + data[end:]
            case _:
                data = data[:at]
    return data


def is_plain(text: str) -> bool:
    """Whether a text holds nothing that steers a terminal or turns text round."""
    kinds = {unicodedata.category(letter) for letter in text}
    turns = {unicodedata.bidirectional(letter) for letter in text}
    return not kinds & {"Cc", "Cs", "Zl", "Zp"} and not turns & {"LRE", "RLE", "LRO", "RLO", "LRI", "RLI", "FSI"}


@contextmanager
def only_a_sentence(path: Path) -> Iterator[None]:
    """What is inside may fail in one way alone: a VoiceCaptureError whose message names the file."""
    try:
        yield
    except VoiceCaptureError as error:
        message = str(error)
        assert path.name in message
        for line in message.split("\n"):
            assert len(line) < _LONGEST_LINE
            assert is_plain(line)
