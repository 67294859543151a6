"""README's pictures are there, small, and load nothing from elsewhere."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHOWN = {path: words for words, path in re.findall(r"!\[(.+)\]\((\S+)\)", README)}
SHOWN |= dict(re.findall(r'<img src="(\S+)" alt="([^"]+)"', README))


@pytest.mark.parametrize("name", ["shed.svg", "desk.svg", "sheet.png"])
def test_every_picture_is_shown_with_a_text_for_those_who_do_not_see_it(name: str) -> None:
    assert len(SHOWN[f"docs/{name}"]) > 60
    assert (ROOT / "docs" / name).stat().st_size < 150_000


@pytest.mark.parametrize("name", ["shed.svg", "desk.svg"])
def test_a_drawn_screen_loads_nothing_from_elsewhere(name: str) -> None:
    drawn = (ROOT / "docs" / name).read_text(encoding="utf-8")
    assert ElementTree.fromstring(drawn).tag.endswith("svg")
    assert "url(http" not in drawn and "href" not in drawn and "monospace" in drawn
