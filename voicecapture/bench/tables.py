"""The results of a run as lines of text."""

from collections.abc import Callable, Iterable, Iterator, Sequence

from voicecapture.bars import DecisionSettings
from voicecapture.bench.cases import conditions_in_order
from voicecapture.bench.confusions import common_pairs, confusions
from voicecapture.bench.figures import (
    Figures,
    Rate,
    decoding_share,
    false_entries,
    figures,
    grouped,
    latency,
    questions,
)
from voicecapture.bench.manifest import NOISE, TALK
from voicecapture.bench.outcomes import Outcome
from voicecapture.bench.reliability import FIELDS, calibration_errors
from voicecapture.bench.results import ENTRY, TABLES, Results, Run, condition
from voicecapture.reckoning.intervals import Share

_MOST_ROWS = 24
"""Above this many voices or noises a table tells nothing."""
_NAME = 26


def tables(run: Run, all_results: Sequence[Results]) -> Iterator[str]:
    """Everything that was measured, for reading; engines side by side first, if there are several."""
    yield from _heading(run)
    if len(all_results) > 1:
        yield ""
        yield from _side_by_side(all_results)
    for found in all_results:
        yield ""
        if len(all_results) > 1:
            yield f"==== {found.engine} ===="
        yield from _engine(found)


def _heading(run: Run) -> Iterator[str]:
    heard = f"{run.recordings}" if run.recordings == run.planned else f"{run.recordings} of {run.planned}"
    how = "stopped early" if run.is_stopped else "all" if run.recordings == run.planned else "a stratified sample"
    yield (
        f"{run.folder}: {heard} recordings ({how}), {run.noise_hours:.2g} h of shed noise, a herd of {run.herd}; "
        f"voicecapture {run.version}, {run.machine}"
    )
    yield (
        "Shares in per cent with Wilson's 95 % interval, as if trials were independent; those that share a voice "
        "or a noise are not."
    )


def _engine(found: Results) -> Iterator[str]:
    yield from _main_table(found)
    for name, key in TABLES.items():
        yield from _matrix(name, found.of(ENTRY), key)
    yield from _curve(found)
    yield from _mistakes(found)
    yield from _calibration(found)
    yield from _costs(found)


def _columns(first: str) -> str:
    cells = (f"{'n':>5}", f"{'voices':>8}", f"{'noises':>8}", f"{'right':>20}", f"{'taken':>8}", f"{'asked':>8}")
    return f"{first:<{_NAME}}{''.join(cells)}{'lost':>8}{'taken wrong':>24}"


def _row(name: str, found: Figures) -> str:
    shares = "".join(f"{100 * (share.value or 0):8.1f}" for share in (found.taken, found.asked, found.lost))
    clusters = f"{found.n:>5}{found.voices:>8}{found.noises:>8}"
    return f"{name:<{_NAME}}{clusters}{_percent(found.right):>20}{shares}{_wrong(found):>24}"


def _wrong(found: Figures) -> str:
    return f"{found.wrong.count:>5} {_percent(found.wrong, 2)}"


def _percent(share: Share, digits: int = 1) -> str:
    """ "97.5 (93.2-99.1)"; a dash of nothing."""
    if share.value is None:
        return "-"
    low, high = share.interval
    return f"{100 * share.value:.{digits}f} ({100 * low:.{digits}f}-{100 * high:.{digits}f})"


def _main_table(found: Results) -> Iterator[str]:
    kinds = grouped([o for o in found.outcomes if o.kind != NOISE], lambda o: o.kind)
    entries = kinds.pop(ENTRY, [])
    yield _columns("entries")
    for name, group in _by_condition(entries):
        yield _row(name, figures(group))
    for kind, outcomes in kinds.items():
        for name, group in _by_condition(outcomes):
            yield _row(f"{kind}, {name}", figures(group))


def _by_condition(outcomes: Iterable[Outcome]) -> Iterator[tuple[str, list[Outcome]]]:
    groups = grouped(outcomes, condition)
    for name in conditions_in_order(groups):
        yield name, groups[name]


def _matrix(title: str, entries: Sequence[Outcome], name: Callable[[Outcome], str]) -> Iterator[str]:
    """Entries right by something, a column for each condition, and those taken wrong in all of them."""
    rows = grouped(entries, name)
    if len(rows) < 2:
        return
    yield ""
    if len(rows) > _MOST_ROWS:
        yield f"entries by {title}: {len(rows)} different ones, too many for a table"
        return
    conditions = conditions_in_order(map(condition, entries))
    yield f"{'entries right by ' + title:<{_NAME}}{''.join(f'{c:>26}' for c in conditions)}{'taken wrong':>14}"
    for row, outcomes in rows.items():
        cells = []
        for column in conditions:
            right = figures(o for o in outcomes if condition(o) == column).right
            cells.append(f"{f'{_percent(right)} of {right.of}' if right.of else '-':>26}")
        wrong = figures(outcomes).wrong
        yield f"{row:<{_NAME}}{''.join(cells)}{f'{wrong.count} of {wrong.of}':>14}"


def _curve(found: Results) -> Iterator[str]:
    if not found.curve or not found.curve[0].figures.n:
        return
    yield ""
    yield f"{'entries of herd cows, by bar':<{_NAME + 5}}{'taken':>8}{'asked':>8}{'taken wrong':>24}"
    for point in found.curve:
        of_bar = point.figures
        mark = "  <- as set" if point.wrong_costs == DecisionSettings().wrong_costs else ""
        shares = "".join(f"{100 * (share.value or 0):8.1f}" for share in (of_bar.taken, of_bar.asked))
        yield f"{f'wrong_costs {point.wrong_costs:g}':<{_NAME + 5}}{shares}{_wrong(of_bar):>24}{mark}"


def _mistakes(found: Results) -> Iterator[str]:
    yield ""
    for kind in (TALK, NOISE):
        if outcomes := found.of(kind):
            rate, asked = false_entries(outcomes), questions(outcomes)
            yield f"false entries in {kind}: {_rate(rate)}; questions: {_rate(asked)}"
    if found.unlisted:
        taken = found.foreign_taken
        yield f"cows outside the herd taken as cows of it: {taken.count} of {taken.of}, {_percent(taken)} %"
    yield ""
    yield f"{'taken for one another':<{_NAME}}{'of sayings with one':>28}{'taken silently':>18}"
    for confusion in confusions(found.outcomes):
        share = confusion.share
        if share.of:
            cell = f"{share.count} of {share.of}, {_percent(share)}"
            yield f"{confusion.name:<{_NAME}}{cell:>28}{confusion.silent:>18}"
    pairs = [f"{said} as {heard} {count}" for said, heard, count in common_pairs(found.outcomes)]
    if pairs:
        yield f"words most often heard as others: {', '.join(pairs)}"


def _rate(rate: Rate) -> str:
    low, high = rate.interval
    per_hour = f"{rate.per_hour:.2g} an hour ({low:.2g}-{high:.2g})" if rate.per_hour is not None else "-"
    return f"{rate.count} in {rate.hours:.2g} h, {per_hour}"


def _calibration(found: Results) -> Iterator[str]:
    if not found.claims:
        return
    yield ""
    yield f"{'calibration error':<{_NAME}}{''.join(f'{field:>10}' for field in FIELDS)}{'cases':>8}"
    conditions = conditions_in_order(claim.condition for claim in found.claims)
    for name in ("all", *conditions):
        errors = calibration_errors([c for c in found.claims if name in ("all", c.condition)])
        cells = "".join(f"{f'{errors[f][0]:.3f}' if f in errors else '-':>10}" for f in FIELDS)
        yield f"{name:<{_NAME}}{cells}{max((n for _, n in errors.values()), default=0):>8}"


def _costs(found: Results) -> Iterator[str]:
    steps = latency(found.outcomes)
    if steps:
        yield ""
        yield f"{'seconds':<{_NAME + 5}}{'median':>8}{'95 % below':>12}{'n':>7}"
        for step, times in steps.items():
            yield f"{step:<{_NAME + 5}}{times.median_s:8.3f}{times.most_s:12.3f}{times.n:>7}"
    share = decoding_share(found.outcomes)
    decoding = f"decoding takes {share:.2f} of the utterances' own time; " if share is not None else ""
    memory = f"{found.memory_mb:.0f} MB" if found.memory_mb is not None else "not known on this system"
    yield f"{decoding}peak memory of the engine's process: {memory}"


def _side_by_side(all_results: Sequence[Results]) -> Iterator[str]:
    """The engines on the same sound, entries by condition."""
    yield _columns("engines side by side")
    conditions = conditions_in_order(condition(o) for found in all_results for o in found.of(ENTRY))
    for name in conditions:
        for found in all_results:
            group = [outcome for outcome in found.of(ENTRY) if condition(outcome) == name]
            yield _row(f"{name}, {found.engine}", figures(group))
