"""Numbers in words, as they are read back and as a typed number is understood."""

_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS = (
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
)
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")


def say_digits(number: str) -> str:
    """ "417" as "four one seven"."""
    return " ".join(_DIGITS[int(digit)] for digit in number)


def say_number(number: int) -> str:
    """0 to 999 in words."""
    if number < 10:
        return _DIGITS[number]
    if number < 20:
        return _TEENS[number - 10]
    if number < 100:
        return _TENS[number // 10] + (f" {_DIGITS[number % 10]}" if number % 10 else "")
    rest = f" and {say_number(number % 100)}" if number % 100 else ""
    return f"{_DIGITS[number // 100]} hundred{rest}"
