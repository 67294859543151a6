"""The sheet as lines of text for a terminal."""

from collections.abc import Iterator

from voicecapture.report.content import Report, Table


def text_report(report: Report) -> Iterator[str]:
    """The sheet, line by line."""
    yield report.title
    width = max(len(figure.name) for figure in report.figures)
    for figure in report.figures:
        yield f"{figure.name:<{width}}  {figure.text}".rstrip()
        for benchmark in figure.benchmarks:
            yield f"{'':<{width}}    elsewhere: {benchmark.text} ({benchmark.source})"
    yield "Percentages with their 95 % interval (Wilson)."
    yield from report.calving
    for table in report.tables:
        yield ""
        yield from _table(table)
    yield ""
    yield from report.cautions


def _table(table: Table) -> Iterator[str]:
    yield f"{table.title} ({len(table.rows)}):" if len(table.columns) > 1 else f"{table.title}:"
    if table.explanation:
        yield f"  {table.explanation}"
    rows = [table.columns, *table.rows] if len(table.columns) > 1 else list(table.rows)
    widths = [max(len(row[place]) for row in rows) for place in range(len(table.columns))]
    for row in rows:
        yield "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
