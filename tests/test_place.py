"""Network folders are refused."""

from pathlib import Path
from typing import NamedTuple

import psutil
import pytest

from voicecapture.errors import RecordError
from voicecapture.store.place import network_kind
from voicecapture.store.record import Record


class Mount(NamedTuple):
    """What psutil tells of a file system."""

    mountpoint: str
    fstype: str
    opts: str = "rw"


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "fuse.sshfs", "9p"])
def test_a_network_folder_is_refused_with_its_kind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    mounts = [Mount("/", "ext4"), Mount(str(tmp_path), "ext4"), Mount(str(tmp_path / "farm"), kind)]
    monkeypatch.setattr(psutil, "disk_partitions", lambda all: mounts)
    (tmp_path / "farm").mkdir()
    with pytest.raises(RecordError, match=kind):
        Record.open(tmp_path / "farm" / "day.db")
    assert not list((tmp_path / "farm").iterdir())
    Record.open(tmp_path / "day.db").close()


def test_the_last_of_several_mounts_at_a_place_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        psutil, "disk_partitions", lambda all: [Mount(str(tmp_path), "nfs"), Mount(str(tmp_path), "tmpfs")]
    )
    assert network_kind(tmp_path / "day.db") == ""


def test_a_machine_whose_root_is_a_network_folder_has_no_other_place(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(psutil, "disk_partitions", lambda all: [Mount("/", "9p")])
    assert network_kind(Path("/day.db")) == ""
