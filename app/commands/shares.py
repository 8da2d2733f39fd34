"""On which kind of file system a folder lies: a network share may forget a lock."""

import re
import shutil
import subprocess
from pathlib import Path
from typing import Final

MOUNTS: Final = Path("/proc/self/mounts")
#: Where a lock or a sync may be promised and not kept.
NETWORK: Final = frozenset(
    {
        "nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "davfs",
        "glusterfs", "fuse.sshfs", "fuse.davfs2", "fuse.rclone", "fuse.glusterfs",
        "afpfs", "webdav", "macfuse",
    }
)  # fmt: skip


def share_of(where: Path) -> str:
    """The kind of network file system a folder lies on; empty when on a disk here."""
    kind = filesystem_of(where.resolve(), _mounts())
    return kind if kind in NETWORK else ""


def _mounts() -> str:
    if MOUNTS.exists():
        return MOUNTS.read_text(errors="replace")
    program = shutil.which("mount", path="/sbin:/usr/sbin:/bin:/usr/bin")
    if program is None:
        return ""
    said = subprocess.run([program], capture_output=True, text=True, check=False)
    return as_in_proc(said.stdout)


def as_in_proc(said: str) -> str:
    """What `mount` prints on macOS, in the form of /proc/self/mounts."""
    lines = re.findall(r"^.+ on (/.*) \((\w+)[,)]", said, re.M)
    return "".join(
        f"x {place.replace(' ', chr(92) + '040')} {kind} x\n" for place, kind in lines
    )


def filesystem_of(path: Path, mounts: str) -> str:
    """The kind of file system a path lies on, by the longest mount point above it."""
    best, kind = Path("/"), ""
    for line in mounts.splitlines():
        _, point, found, *_ = line.split(" ")
        place = Path(point.replace("\\040", " "))
        if path.is_relative_to(place) and len(place.parts) >= len(best.parts):
            best, kind = place, found
    return kind
