"""What a started site prints for phones: an address to scan, and how to pair one."""

import os
import shutil
import sys

from app.lan.place import Place
from app.settings import Settings
from app.web.phone_address import (
    ENCRYPTED_START,
    NOT_ENCRYPTED,
    for_phones,
    is_only_here,
    is_open,
)
from app.web.qr import for_terminal, half_blocks


def pairing_lines(
    settings: Settings, url: str, lan: Place | None = None, *, qr: bool = True
) -> list[str]:
    """Nothing where no phone can reach the site. `url`: what a phone opens first.

    That is the set-up link while there is nobody; a link that signs in a person is made
    by that person alone, on their account page. The picture is for a terminal's reader:
    into a file or a pipe goes the address by itself.
    """
    link = for_phones(settings, url, lan)
    if is_only_here(link):
        return []
    drawn = for_terminal(link) if qr and _shows(half_blocks(link)[0]) else []
    how = "scan this or open" if drawn else "open"
    lines = [*drawn, f"On a phone in the same network, {how}:", f"  {link}"]
    if "/set-up/" not in link:
        lines.append("To sign a phone in by a scan: Your account, Pair a phone.")
    way_out = f"{NOT_ENCRYPTED} Better: {ENCRYPTED_START}"
    return [*lines, way_out] if is_open(link) else lines


def _shows(line: str) -> bool:
    """A terminal that has the room, the signs and the colours for the picture."""
    if not sys.stdout.isatty() or os.environ.get("TERM") == "dumb":
        return False
    if os.name == "nt" and "WT_SESSION" not in os.environ:
        return False  # an older console prints colours as letters
    try:
        "█▀▄".encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return shutil.get_terminal_size().columns >= len(line)
