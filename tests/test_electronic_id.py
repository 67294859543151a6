"""Electronic IDs are codes of ISO 11784."""

import pytest

from voicecapture.electronic_id import from_bits, read_electronic_id


# Worked conversions of the CRAN package ISO11784Tools 1.2.0 (README and tests): 64 bits, highest first.
@pytest.mark.parametrize(
    ("digits", "bits"),
    [
        ("999123456789012", 0x8000F9DCBE991A14),
        ("999012345678901", 0x8000F9C2DFDC1C35),
        ("999012345678902", 0x8000F9C2DFDC1C36),
    ],
)
def test_sixty_four_bits_to_digits(digits: str, bits: int) -> None:
    assert from_bits(bits) == digits


# Computed from the layout of ISO 11784 as ICAR's training slides give it.
@pytest.mark.parametrize("written", ["80008A9CBE991A14", "22A.1CBE991A14", "22a.1cbe991a14", "554.123.456.789.012"])
def test_what_readers_write(written: str) -> None:
    assert read_electronic_id(written) == "554123456789012"


@pytest.mark.parametrize("bits", [0x0000F9DCBE991A14, 0x8000FFDCBE991A14])
def test_bits_that_are_no_animal(bits: int) -> None:
    with pytest.raises(ValueError, match="not the code of an animal"):
        from_bits(bits)


@pytest.mark.parametrize(
    ("written", "fault"),
    [
        # 000 is invalid and 999 is for tests (icar.org, RFID misuse page).
        ("000123456789012", "begins with 000"),
        ("999123456789012", "999, which is for tests"),
        ("3E7.1CBE991A14", "999, which is for tests"),
        # ISO 3166-1 numeric has no 210; New Zealand is 554.
        ("210123456789012", "country code of ISO 3166"),
        ("554274877906944", "at most 274877906943"),
        ("0000000000000000", "expected 15 digits"),
        ("37FF65B88EF94", "expected 15 digits"),
    ],
)
def test_codes_that_no_animal_wears(written: str, fault: str) -> None:
    with pytest.raises(ValueError, match=fault):
        read_electronic_id(written)
