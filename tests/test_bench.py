"""The figures of the bench."""

import pytest

from voicecapture.bench import at_most


@pytest.mark.parametrize(
    ("count", "n", "upper"), [(81, 263, 0.3662), (15, 148, 0.1605), (0, 20, 0.1611), (1, 29, 0.1718)]
)
def test_the_upper_bound_is_that_of_the_published_table(count: int, n: int, upper: float) -> None:
    """Newcombe 1998, Statistics in Medicine 17:857-872, table I, method 3 (score, without continuity correction)."""
    assert at_most(count, n) == pytest.approx(upper, abs=5e-5)


def test_of_nothing_nothing_is_known() -> None:
    assert at_most(0, 0) == 1.0
