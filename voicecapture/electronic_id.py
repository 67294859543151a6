"""Electronic IDs of animals: the code structure of ISO 11784.

64 bits: the highest says "animal", bits 38-47 hold a country or manufacturer code, bits 0-37 the national id.
Printed, it is 3 and 12 digits. ICAR gives out manufacturer codes, 900-998; 999 is for tests and on no animal.
"""

import re

from iso3166 import countries_by_numeric

from voicecapture.plain_text import shown

_DIGITS = re.compile(r"[0-9]{15}|[0-9]{3} [0-9]{12}|[0-9]{3}(?:\.[0-9]{3}){4}")
_DOT_HEX = re.compile(r"[0-9A-Fa-f]{3}\.[0-9A-Fa-f]{10}")
_HEX = re.compile(r"[0-9A-Fa-f]{16}")
_LINE = re.compile(
    r"(?:L?A ?(?:[0-9]{5} ?[0-9] ?0?|[0-9]{7} ?)?|1[0-9]{7} ?)?"
    r"(?P<code>[0-9]{15}|[0-9]{3} [0-9]{12}|[0-9]{3}(?: [0-9]{3}){4})"
)
"""The code as readers send it: alone, behind "A" or "LA" for "animal", or behind that or a 1 and the retagging
counter, user information and reserved bits, which name no other animal (ISO 24631-6, clause 4)."""
_LAST_NATIONAL_ID = 2**38 - 1
"""274,877,906,943: twelve digits can say more than 38 bits hold."""


def read_electronic_id(text: str) -> str:
    """The 15 digits of an electronic ID.

    Args:
        text: 15 digits, "ccc nnnnnnnnnnnn" or "ccc.nnn.nnn.nnn.nnn"; or as some readers give it, the 64 bits as 16
            hexadecimal digits, or code and national id as "hhh.hhhhhhhhhh".

    Raises:
        ValueError: If it is no such code, or one that no animal may wear.
    """
    digits = _decimal(text)
    code, national_id = digits[:3], int(digits[3:])
    if code == "000":
        raise ValueError(f"electronic id '{text}' begins with 000; expected a country or manufacturer code.")
    if code == "999":
        raise ValueError(f"electronic id '{text}' begins with 999, which is for tests; expected a code of an animal.")
    if int(code) < 900 and code not in countries_by_numeric:
        raise ValueError(f"electronic id '{text}' begins with {code}; expected a country code of ISO 3166.")
    if national_id > _LAST_NATIONAL_ID:
        raise ValueError(f"electronic id '{text}'; expected at most {_LAST_NATIONAL_ID} after the first 3 digits.")
    return digits


def read_line(line: str) -> str:
    """The 15 digits in a line of a reader.

    Args:
        line: The code with spaces, dashes, underscores or dots between its groups or none, as 16 hexadecimal digits,
            with the prefix of a reader, and with control characters around it.

    Raises:
        ValueError: If it is no electronic ID, or one that no animal may wear.
    """
    printable = "".join(c for c in line if c.isprintable() or c.isspace())
    plain = re.sub(r"[-_\s]+", " ", printable).strip()
    found = _LINE.fullmatch(plain)
    return read_electronic_id(found["code"].replace(" ", "") if found else plain)


def from_bits(bits: int) -> str:
    """The 15 digits in the 64 bits of ISO 11784, the animal flag highest.

    Raises:
        ValueError: If the animal flag is not set or the country code has more than three digits.
    """
    code, national_id = bits >> 38 & 0x3FF, bits & _LAST_NATIONAL_ID
    if not bits >> 63 or code > 999:
        raise ValueError(f"{bits:016X} is not the code of an animal")
    return f"{code:03d}{national_id:012d}"


def _decimal(text: str) -> str:
    if _DIGITS.fullmatch(text):
        return re.sub(r"[ .]", "", text)
    try:
        if _DOT_HEX.fullmatch(text):
            code, national_id = text.split(".")
            return from_bits(1 << 63 | int(code, 16) << 38 | int(national_id, 16))
        if _HEX.fullmatch(text):
            return from_bits(int(text, 16))
    except ValueError:
        pass  # not the code of an animal, told below
    raise ValueError(f"electronic id '{shown(text)}'; expected 15 digits (format the spreadsheet's column as text).")
