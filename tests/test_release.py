"""What is shipped: every file with its licence, every dependency with its hashes."""

import re
import tomllib
from pathlib import Path

import pytest
from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from reuse.global_licensing import ReuseTOML

ROOT = Path(__file__).parents[1]
LICENCES = ReuseTOML.from_file(ROOT / "REUSE.toml")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
LOCK = (ROOT / "requirements.lock").read_text()


@pytest.mark.parametrize("builder", [WheelBuilder, SdistBuilder])
def test_every_file_that_is_shipped_has_a_licence(builder: type[WheelBuilder | SdistBuilder]) -> None:
    shipped = [Path(file.path).relative_to(ROOT).as_posix() for file in builder(str(ROOT)).recurse_included_files()]
    assert "voicecapture/models/listener/listener.onnx" in shipped and len(shipped) > 100
    assert [name for name in shipped if LICENCES.find_annotations_item(name) is None] == []


def test_every_entry_of_the_licence_list_is_of_a_file_that_is_there() -> None:
    for annotation in LICENCES.annotations:
        for pattern in annotation.paths:
            found = ROOT.glob(pattern.replace("**.", "**/*.").replace("/**", "/**/*").replace("*/*/*", "*/*"))
            assert any(file.is_file() for file in found), pattern


def test_the_text_of_every_licence_is_shipped() -> None:
    texts = "\n".join((ROOT / name).read_text() for name in PROJECT["license-files"])
    wording = {
        "Apache-2.0": "Apache License",
        "MIT": "Permission is hereby granted, free of charge",
        "BSD-2-Clause": "Redistributions in binary form must reproduce",
    }
    named = {licence for annotation in LICENCES.annotations for licence in annotation.spdx_expressions}
    for licence in {part for expression in named for part in str(expression).split(" AND ")}:
        assert wording[licence] in texts


def test_every_dependency_is_locked_with_its_hashes() -> None:
    blocks = re.findall(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)(.*(?:\n    .*)*)", LOCK, re.MULTILINE)
    locked = {canonicalize_name(name): version for name, version, _ in blocks}
    assert all("--hash=sha256:" in rest for _, _, rest in blocks)
    for line in (*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["pdf"]):
        wanted = Requirement(line)
        assert locked[canonicalize_name(wanted.name)] in wanted.specifier, wanted
