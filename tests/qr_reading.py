"""A camera for tests: what an independent reader makes of a drawn QR code."""

import re
from collections.abc import Sequence

import numpy as np
import zxingcpp
from numpy.typing import NDArray

from app.web.qr import BLOCKS

#: Pixels for each square, as many as a phone held a hand's breadth away sees.
SCALE = 6


def read(dark: NDArray[np.bool_]) -> str:
    """The text of the one code in a picture of squares; empty where there is none."""
    grey = np.where(dark, 0, 255).astype(np.uint8)
    return read_grey(np.kron(grey, np.ones((SCALE, SCALE), np.uint8)))


def read_grey(pixels: NDArray[np.uint8]) -> str:
    found = zxingcpp.read_barcodes(pixels)
    return found[0].text if len(found) == 1 else ""


def of_blocks(lines: Sequence[str]) -> NDArray[np.bool_]:
    """The squares that lines of half blocks draw."""
    parts = {sign: halves for halves, sign in BLOCKS.items()}
    rows = [[parts[s][half] for s in line] for line in lines for half in (0, 1)]
    return np.array(rows, dtype=bool)


def of_svg(svg: str) -> NDArray[np.bool_]:
    """The squares that an SVG's strokes of one square's height draw."""
    size = re.search(r'viewBox="0 0 (\d+) \1"', svg)
    drawn = re.search(r'stroke="#000" d="M([^"]+)"', svg)
    assert size is not None
    assert drawn is not None
    dark = np.zeros((int(size[1]), int(size[1])), dtype=bool)
    x = y = 0.0
    for step, first, second in re.findall(
        r"([Mmh]?)(-?[\d.]+)(?: (-?[\d.]+))?", "M" + drawn[1]
    ):
        if step == "h":
            dark[int(y), int(x) : int(x) + int(first)] = True
            x += int(first)
        else:
            x = float(first) + (x if step == "m" else 0)
            y = float(second) + (y if step == "m" else 0)
    return dark
