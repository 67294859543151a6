"""Where a record may lie: on a disk of this machine, which keeps what it says it has kept."""

from pathlib import Path

import psutil

from voicecapture.errors import RecordError

# fmt: off
_OVER_A_NETWORK = frozenset((
    "9p", "afpfs", "afs", "beegfs", "ceph", "cifs", "coda", "davfs", "gfs", "glusterfs", "gvfsd-fuse", "lustre",
    "ncpfs", "nfs", "nfs4", "rclone", "s3fs", "smb2", "smb3", "smbfs", "sshfs", "vboxsf", "webdav",
))
# fmt: on
"""Types of file systems as the system names them, with or without "fuse." before."""


def check_place(path: Path) -> None:
    """Refuse a folder on another machine.

    SQLite's write-ahead log needs memory shared by all that use the file, and a file system that locks and
    synchronises as it says. Source: sqlite.org/wal.html ("does not work over a network filesystem") and
    sqlite.org/lockingv3.html, section 6.0.

    Raises:
        RecordError: If the file would lie on a network folder.
    """
    kind = network_kind(path)
    if kind:
        raise RecordError(
            f"{path}: on a network folder ({kind}), which may say that something is on the disk when it is not; "
            "expected a disk of this machine. Name another place, and copy the file afterwards with "
            "`voicecapture backup`."
        )


def network_kind(path: Path) -> str:
    """The type of the network file system that a path lies on; empty for a disk of this machine."""
    place = path.resolve()
    if str(place).startswith(r"\\"):
        return "a Windows share"
    mounts = [m for m in psutil.disk_partitions(all=True) if place.is_relative_to(m.mountpoint)]
    # Of several mounts at one point the last covers the others.
    mount = max(reversed(mounts), key=lambda m: len(m.mountpoint), default=None)
    # A machine whose root is such a folder, as in some containers, has no other place.
    if mount is None or mount.mountpoint == "/":
        return ""
    if "remote" in mount.opts.split(","):
        return "a Windows share"
    return mount.fstype if mount.fstype.lower().removeprefix("fuse.") in _OVER_A_NETWORK else ""
