"""What readers send, whatever it is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecapture.day import READER, Day, EventKind
from voicecapture.electronic_id import read_line
from voicecapture.herd import Animal, Herd
from voicecapture.reads import decide_read, is_electronic_id

DAY = Day(Herd([Animal("417", "982000123456789")]))


# ISO 24631-6:2011, clause 4.3: a line begins with STX; retagging counter, user information and additional information
# precede the code. The other forms are those that manuals of readers call ISO long, ISO short and line mode.
@pytest.mark.parametrize(
    "line",
    [
        "982000123456789",
        "982 000123456789",
        "982-000123456789",
        "982_000123456789",
        "982.000.123.456.789",
        "982 000 123 456 789",
        "\x02A0000000982000123456789\r",
        "A 00000 0 982 000123456789",
        "A 00000 0 0982 000123456789",
        "LA 982 000123456789\r\n",
        "LA 00000 0 982 000123456789",
        "A1020000982000123456789",
        "10000000982000123456789",
        "\x00\x02 982 000123456789 \x03",
        "3D6.00075BCD15",
        "8000F580075BCD15",
    ],
)
def test_the_code_is_read_out_of_what_readers_write(line: str) -> None:
    assert read_line(line) == "982000123456789"
    event = decide_read(line, DAY, 10.0, 12.0)
    assert event is not None and event.entry is not None
    assert (event.entry.cow, event.heard) == ("417", "reader: 982000123456789")


@pytest.mark.parametrize(
    "line",
    [
        "98200012345678",
        "982000123456789982000123456789",
        "417 982000123456789",
        "R 0006 0000000000123456",
        "000000123456789",
        "999000123456789",
        "417982000123456 7",
        "417 pregnant 58 days",
        "",
    ],
)
def test_a_line_that_holds_no_code_of_an_animal_is_kept_and_is_nobody(line: str) -> None:
    assert not is_electronic_id(line)
    event = decide_read(line, DAY, 10.0, 12.0)
    assert event is not None and event.kind is EventKind.IGNORED and event.entry is None
    after = DAY.after(event)
    assert [read.cow for read in after.gate.open] == [None]
    assert decide_read("noise", after, 11.0, 12.0) is None, "one line of noise is enough"


@given(st.text() | st.binary().map(lambda noise: noise.decode("latin-1")), st.floats(0, 1e6))
def test_no_line_breaks_anything_or_is_passed_over(line: str, at_s: float) -> None:
    event = decide_read(line, DAY, at_s, 12.0)
    assert event is not None and event.heard.startswith(READER) and len(event.heard) < 60
    assert len(DAY.after(event).gate.open) == 1


@given(
    st.integers(0, 2**38 - 1),
    st.sampled_from(["", "A", "LA ", "\x02A0000000", "LA 00000 0 ", "10000000"]),
    st.sampled_from(["", " ", "-", "_", "\t"]),
    st.sampled_from(["", "\r", "\x03", " \n"]),
)
def test_every_code_of_a_manufacturer_is_read_with_every_prefix(
    national_id: int, prefix: str, separator: str, end: str
) -> None:
    assert read_line(f"{prefix}982{separator}{national_id:012d}{end}") == f"982{national_id:012d}"


@given(st.integers(0, 2**38 - 1), st.integers(0, 14))
def test_a_code_that_lost_a_digit_is_none(national_id: int, place: int) -> None:
    code = f"982{national_id:012d}"
    assert not is_electronic_id(code[:place] + code[place + 1 :])
