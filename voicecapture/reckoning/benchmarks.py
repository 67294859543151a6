"""Published figures to hold a herd against. They tell of other herds in other years, and judge nobody."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A published figure."""

    measure: str
    """Name of a field of `HerdFigures` or `YearRoundFigures`."""
    text: str
    source: str


_YEAR_ROUND = "table of an Australian extension programme, as quoted"

BENCHMARKS = (
    Benchmark("three_week_submission", "target 90 % or more", "Farming Connect, Business Wales"),
    Benchmark(
        "three_week_submission",
        "mean 81 % (44-95) of 63 New Zealand herds, 2009-2011",
        "Brownlie et al. 2014, N Z Vet J 62(2):77-86",
    ),
    Benchmark("conception", "target 60 % or more", "Farming Connect, Business Wales"),
    Benchmark(
        "conception",
        "first services: mean 48 % (25-71) of 63 New Zealand herds, 2009-2011",
        "Brownlie et al. 2014, N Z Vet J 62(2):77-86",
    ),
    Benchmark("six_week_in_calf", "target 78 %", "Farming Connect, Business Wales"),
    Benchmark(
        "six_week_in_calf",
        "mean 67 % (46-86) of 63 New Zealand herds, 2009-2011",
        "Brownlie et al. 2014, N Z Vet J 62(2):77-86",
    ),
    Benchmark("not_in_calf", "target 10 % or less after 12 weeks", "Farming Connect, Business Wales"),
    Benchmark("not_in_calf", "New Zealand 17 % (2016, about 11 weeks of mating)", "industry articles, as quoted"),
    Benchmark(
        "twins",
        "4.2 % of 2,304,278 calvings; cows 5.8 %, heifers 1.2 %",
        "Silva del Río et al. 2007, J Dairy Sci 90:1255-1264",
    ),
    Benchmark(
        "in_calf_by_100",
        "below 45 %: seek help; best herds about 58 %",
        _YEAR_ROUND,
    ),
    Benchmark(
        "not_in_calf_by_200",
        "above 19 %: seek help; best herds about 13 %",
        _YEAR_ROUND,
    ),
    Benchmark(
        "submission_by_80",
        "below 61 %: seek help; best herds about 73 %",
        _YEAR_ROUND,
    ),
)


def benchmarks_for(measure: str) -> tuple[Benchmark, ...]:
    """The published figures for a measure."""
    return tuple(benchmark for benchmark in BENCHMARKS if benchmark.measure == measure)
