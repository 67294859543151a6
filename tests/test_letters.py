"""Large letters."""

import pytest

from voicecapture.dashboard.letters import fitting, large, width
from voicecapture.language.phrase import Result
from voicecapture.report.wording import written_result


@pytest.mark.parametrize("scale", [1, 2])
@pytest.mark.parametrize(
    "text", ["0123456789", "✓  417", "✗  30", "415/419", "?", *(written_result(r).upper() for r in Result)]
)
def test_every_number_and_result_can_be_written_in_equal_lines(text: str, scale: int) -> None:
    lines = large(text, scale).split("\n")
    assert len(lines) == 5 * scale and {len(line) for line in lines} == {scale * width(text)}


def test_all_figures_and_letters_look_different() -> None:
    letters = "0123456789ACEFHIKLMNPRTY?✓✗/"
    assert len({large(letter) for letter in letters}) == len(letters)


def test_the_most_that_fits_is_shown_and_twice_as_large_where_there_is_room() -> None:
    choices = ["417 EMPTY", "417", "?"]
    assert fitting(choices, 2 * width("417 EMPTY")) == ("417 EMPTY", 2)
    assert fitting(choices, 2 * width("417 EMPTY") - 1) == ("417 EMPTY", 1)
    assert fitting(choices, width("417")) == ("417", 1)
    assert fitting(choices, 2) == ("", 1)
