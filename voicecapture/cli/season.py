"""Commands on what was scanned: sheet, exports, signature, amendments, season."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from voicecapture.alert import entry_alerts
from voicecapture.amend import amendment, read_cow, read_typed
from voicecapture.cli.options import DatabaseArgument, SettingsOption
from voicecapture.day import Event, EventKind
from voicecapture.errors import GrammarError, RecordError
from voicecapture.exports import check_format, write_export
from voicecapture.herd import Matings
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry
from voicecapture.lists.calvings import read_calvings
from voicecapture.lists.herd import FORMAT as HERD_FORMAT
from voicecapture.lists.herd import parse_herd
from voicecapture.lists.matings import FORMAT as MATINGS_FORMAT
from voicecapture.lists.matings import parse_matings
from voicecapture.lists.table import read_text
from voicecapture.plain_text import one_line
from voicecapture.reckoning.outcomes import audit
from voicecapture.reckoning.season import ScanDay, Season
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.report.audit import audit_lines
from voicecapture.report.changes import since_signed
from voicecapture.report.content import make_report
from voicecapture.report.page import html_page, pdf_page
from voicecapture.report.text import text_report
from voicecapture.report.wording import notes, written_age, written_outcome
from voicecapture.settings import read_settings
from voicecapture.store.adding import add_days
from voicecapture.store.record import Record
from voicecapture.store.season import add_list, amend, read_season, set_mating_start, sign
from voicecapture.whole_file import write_whole

app = typer.Typer()
season_app = typer.Typer(help="Several scan days as one season.", no_args_is_help=True)
app.add_typer(season_app, name="season")

DayOption = Annotated[
    str, typer.Option("--day", help="Which day, if the file has several: its date, or the digits listed behind it.")
]
SeasonOption = Annotated[Path, typer.Option("--season", help="The season's file; made if it is not there.")]


@contextmanager
def _open(path: Path, is_new: bool = False) -> Iterator[Record]:
    if not is_new and not path.is_file():
        raise RecordError(f"{path}: no such file; expected the file of a day or a season. Name an existing file.")
    record = Record.open(path)
    try:
        yield record
    finally:
        record.close()


@app.command()
def report(
    database: DatabaseArgument,
    out: Annotated[Path | None, typer.Option(help="The HTML file; by default beside the database.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Print it to a PDF file too.")] = None,
    text: Annotated[bool, typer.Option("--text", help="Show it here, and write no file.")] = False,
    settings: SettingsOption = None,
) -> None:
    """Write the sheet of a day or a season: figures, charts, lists, every cow."""
    if text and (out or pdf):
        raise typer.BadParameter(
            "shows the sheet here and writes no file; leave out --out and --pdf", param_hint="--text"
        )
    file = out or database.with_suffix(".html")
    for path, ending in ((file, ".html"), (pdf, ".pdf")):
        if path is not None and path.suffix.lower() != ending:
            # A slip of the keyboard must never write over the record.
            raise RecordError(f"{path}: not the name of a sheet; expected it to end in {ending}. Rename it.")
    reckoning = read_settings(settings).reckoning
    with Record.reading(database) as record:
        sheet = make_report(read_season(record), reckoning)
    if text:
        typer.echo("\n".join(text_report(sheet)))
        return
    page = html_page(sheet)
    write_whole(file, page.encode())
    typer.echo(f"{file}: written.")
    if pdf is not None:
        write_whole(pdf, pdf_page(page))
        typer.echo(f"{pdf}: written.")


@app.command()
def export(
    database: DatabaseArgument,
    files: Annotated[
        list[Path],
        typer.Argument(help="Files to write: .csv or .xlsx (every cow), .json (ICAR ADE), .ics (calendar)."),
    ],
    settings: SettingsOption = None,
) -> None:
    """Write a day or a season in open formats, chosen by the ending of each file's name."""
    reckoning = read_settings(settings).reckoning
    for file in files:
        check_format(file)
    with Record.reading(database) as record:
        season = read_season(record)
    for file in files:
        typer.echo(f"{file}: {write_export(season, reckoning, file)} rows.")


@app.command("sign")
def sign_command(
    database: DatabaseArgument,
    vet: Annotated[str, typer.Option(help="The vet's name.")],
    day: DayOption = "",
    list_open: Annotated[
        bool, typer.Option("--list-open", help="Sign with questions open; they stay listed on the sheet.")
    ] = False,
) -> None:
    """Sign a day. From then on it can only be amended, by name and date."""
    if not vet.strip():
        raise typer.BadParameter("name the vet who signs", param_hint="--vet")
    with _open(database) as record:
        chosen = _choose(read_season(record), database, day)
        if chosen.day.questions and not list_open:
            raise RecordError(
                f"{database}: {len(chosen.day.questions)} questions are open; expected none. Settle them with "
                "voicecapture amend --answers, or sign with --list-open.\n" + "\n".join(_questions(chosen))
            )
        signed = sign(record, chosen.name, vet.strip())
    assert signed.signature is not None
    typer.echo(f"{signed.scanned_on}: signed by {vet}, {signed.day.counts.scanned} cows.\n{signed.signature.digest}")


def _questions(day: ScanDay) -> Iterator[str]:
    for number, event in day.day.questions.items():
        minutes, seconds = divmod(int(event.at_s), 60)
        yield f"  {number}: at {minutes}:{seconds:02d} heard '{event.heard}': {event.reason}"


@app.command("amend")
def amend_command(
    database: DatabaseArgument,
    cow: Annotated[str, typer.Argument(help="Cow number.")],
    found: Annotated[
        str | None,
        typer.Argument(help="What was found, as it is said: 'pregnant 58 days'; a finding alone is added."),
    ] = None,
    by: Annotated[str, typer.Option(help="Who changes it.")] = "",
    why: Annotated[str, typer.Option(help="Why, for the sheet.")] = "",
    day: DayOption = "",
    answers: Annotated[
        int | None,
        typer.Option(help="Number of the open question that this settles; nothing found: it was no entry."),
    ] = None,
    take_back: Annotated[bool, typer.Option("--take-back", help="Take her result back.")] = False,
    unlisted: Annotated[bool, typer.Option("--unlisted", help="She is in no herd list, and is meant.")] = False,
    settings: SettingsOption = None,
) -> None:
    """Change, add or take back a cow's result after the day. What it was before is kept."""
    if not by.strip():
        raise typer.BadParameter("name who changes it", param_hint="--by")
    if sum((found is not None, take_back, answers is not None and found is None)) != 1:
        raise typer.BadParameter("say what was found, or --take-back, or which question was no entry with --answers")
    try:
        number = read_cow(cow)
    except GrammarError as error:
        raise typer.BadParameter(str(error), param_hint="COW") from error
    chosen_settings = read_settings(settings)
    grammar = load_grammar(practice_findings=chosen_settings.findings)
    entry = read_typed(found, grammar) if found is not None else None
    with _open(database) as record:
        season = read_season(record)
        if len(season.herd) and number not in season.herd and not (unlisted or found is None):
            raise RecordError(
                f"{database}: cow {number} is in no herd list; expected one that is. Correct the number, or say that "
                "she is meant with --unlisted."
            )
        chosen = _choose(season, database, day)
        event = amendment(chosen.day, number, entry, by.strip(), why, answers)
        amend(record, chosen.name, event, seen=chosen.day.length)
    was = chosen.day.results.get(number)
    before = written_outcome(was[1].entry) if was and was[1].entry else "nothing"
    now = written_outcome(event.entry) if entry and event.entry else f"question {answers} was no entry"
    typer.echo(f"{chosen.scanned_on}: {number} {'taken back' if take_back else now}, by {by}; before: {before}.")
    for caution in _cautions(chosen, event, season.matings, chosen_settings.reckoning):
        typer.echo(f"  Look at it: {caution}.")


def _cautions(day: ScanDay, event: Event, matings: Matings, reckoning: ReckoningSettings) -> Iterator[str]:
    """What speaks against an amendment that was made, and what is no longer held since."""
    if event.kind is not EventKind.ACCEPTED or event.entry is None or event.entry.cow is None:
        return
    yield from entry_alerts(event, day.day.after(event), day.scanned_on, matings, reckoning)
    asked = day.day.questions.get(event.answers) if event.answers is not None else None
    if asked is not None and asked.entry is not None and asked.entry.cow not in (None, event.entry.cow):
        yield f"question {event.answers} was about cow {asked.entry.cow}"
    was = day.day.results.get(event.entry.cow)
    if was is not None and was[1].entry is not None:
        lost = [said for said in _said(was[1].entry) if said not in _said(event.entry)]
        if lost:
            yield f"no longer held: {', '.join(lost)}"


def _said(entry: Entry) -> list[str]:
    return [*notes(entry), *(["an age"] if written_age(entry) else [])]


def _choose(season: Season, database: Path, day: str) -> ScanDay:
    """The only day of a file, or the one that was named."""
    named = [
        d for d in season.days if day in ("", d.scanned_on.isoformat()) or (len(day) > 5 and d.name.startswith(day))
    ]
    if len(named) != 1:
        found = ", ".join(" ".join(filter(None, (str(d.scanned_on), d.vet, f"({d.name[:8]})"))) for d in season.days)
        raise RecordError(f"{database}: holds the days {found}; expected one to be named. Name it with --day.")
    return named[0]


@app.command()
def verify(
    databases: Annotated[list[Path], typer.Argument(metavar="DATABASE...", help="Files of days or seasons.")],
) -> None:
    """Show the digest of every day, whether it is still what was signed, and what differs between files."""
    digests: dict[str, dict[Path, ScanDay]] = {}
    broken = False
    for path in databases:
        with Record.reading(path) as record:
            for day in read_season(record).days:
                digests.setdefault(day.name, {})[path] = day
                state = "not signed"
                if day.signature is not None:
                    broken = broken or not day.is_as_signed
                    state = f"signed by {day.signature.vet}, {'as signed' if day.is_as_signed else 'CHANGED since'}"
                    later = since_signed(day)
                    state += f", {later} change{'s' * (later > 1)} since the signature" if later else ""
                typer.echo(f"{one_line(str(path))}  {day.scanned_on}  {day.digest}  {state}")
    for copies in digests.values():
        some = next(iter(copies.values()))
        called = f"{some.scanned_on} {some.vet}".strip()
        missing = [str(path) for path in databases if path not in copies]
        if missing:
            typer.echo(f"The day {called} is not in {', '.join(missing)}.", err=True)
        if len({day.digest for day in copies.values()}) > 1:
            typer.echo(f"The day {called} differs between {', '.join(map(str, copies))}.", err=True)
        broken = broken or bool(missing) or len({day.digest for day in copies.values()}) > 1
    if broken:
        raise typer.Exit(1)


@season_app.command("add")
def season_add(
    databases: Annotated[list[Path], typer.Argument(metavar="DATABASE...", help="Files of days.")],
    season: SeasonOption = Path("season.db"),
) -> None:
    """Add scan days to a season, from one laptop or several. The same days again change nothing."""
    for path in databases:
        if not path.is_file():
            raise RecordError(f"{path}: no such file; expected the file of a day. Name an existing file.")
    with _open(season, is_new=True) as record:
        for path in databases:
            added = add_days(record, path)
            lost = f", {added.sounds_missing} sounds were not beside it" if added.sounds_missing else ""
            new = f"{added.days} new days, {added.events} new events, {added.lists} new lists"
            new += f", {added.starts} new start{'s' * (added.starts > 1)} of mating" if added.starts else ""
            typer.echo(f"{one_line(str(path))}: {new}{lost}.")
            for replaced in added.replaced:
                typer.echo(f"  Now counts: {one_line(replaced)}.")
            if added.twice:
                cows = ", ".join(added.twice)
                typer.echo(f"  Amended differently in both copies: cows {cows}. Of each a question is open.")
            if added.not_as_signed:
                typer.echo(f"  CHANGED since they were signed: the days {', '.join(added.not_as_signed)}.")


@season_app.command("records")
def season_records(
    herd: Annotated[Path | None, typer.Option(help="Herd list, a CSV file.")] = None,
    matings: Annotated[Path | None, typer.Option(help="Mating list, a CSV file.")] = None,
    mating_start: Annotated[datetime | None, typer.Option(formats=["%Y-%m-%d"], help="First day of mating.")] = None,
    season: SeasonOption = Path("season.db"),
) -> None:
    """Give a season the farm's lists and its first day of mating."""
    if mating_start is not None and not 2000 <= mating_start.year <= 2100:
        raise typer.BadParameter(f"{mating_start.date()}; expected a day of this season", param_hint="--mating-start")
    texts = []
    if herd is not None:
        text = read_text(herd, HERD_FORMAT)
        parse_herd(text, str(herd))
        texts.append(("herd", herd, text))
    if matings is not None:
        text = read_text(matings, MATINGS_FORMAT)
        parse_matings(text, str(matings))
        texts.append(("matings", matings, text))
    with _open(season, is_new=True) as record:
        if mating_start is not None:
            # It is refused before a list is kept.
            before = set_mating_start(record, mating_start.date())
            typer.echo(f"Mating began on {mating_start.date()}: kept.")
            if before:
                typer.echo(f"  Look at it: scanned before that, on {', '.join(map(str, before))}.")
        for kind, path, text in texts:
            is_new = add_list(record, kind, str(path), text)
            place = ", in the place of mating lists before it" if kind == "matings" else ""
            typer.echo(f"{path}: {f'kept{place}' if is_new else 'kept already'}.")


@season_app.command("outcomes")
def season_outcomes(
    calvings: Annotated[Path, typer.Argument(metavar="CALVINGS.csv", help="Cow, and calving date or outcome.")],
    season: SeasonOption = Path("season.db"),
    settings: SettingsOption = None,
) -> None:
    """Compare every scan with what became of the cow: ageing error, false empties, pregnancies that did not calve."""
    found = read_calvings(calvings)
    reckoning = read_settings(settings).reckoning
    with Record.reading(season) as record:
        cows = read_season(record).cows(reckoning)
    typer.echo("\n".join(audit_lines(audit(cows, found, reckoning))))
