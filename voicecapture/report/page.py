"""The sheet as one HTML page that needs nothing else, and as PDF."""

from collections.abc import Sequence

from jinja2 import Environment, PackageLoader

from voicecapture import __version__
from voicecapture.errors import RecordError
from voicecapture.language.crib import Section
from voicecapture.report.content import Report

_TEMPLATES = Environment(loader=PackageLoader("voicecapture.report", "."), autoescape=True)


def html_page(report: Report) -> str:
    """The sheet as HTML; prints on A4, works without a network."""
    # Only this page draws, and drawing takes half a second to load at the start of every command.
    from voicecapture.report.charts import charts

    page = _TEMPLATES.get_template("page.html.j2")
    return page.render(report=report, charts=charts(report.herd, report.mating_start), version=__version__)


def crib_page(sections: Sequence[Section]) -> str:
    """The crib sheet as one page to print and hang up."""
    return _TEMPLATES.get_template("crib.html.j2").render(sections=sections)


def pdf_page(html: str) -> bytes:
    """A page printed to PDF.

    Raises:
        RecordError: If the library for it is not installed.
    """
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:  # OSError: the package is there, Pango is not
        raise RecordError(
            f"PDF needs WeasyPrint and Pango ({error}). Install them with "
            "pip install 'voicecapture[pdf]' and apt install libpango-1.0-0 libpangoft2-1.0-0, or print the page."
        ) from error
    return bytes(HTML(string=html).write_pdf() or b"")
