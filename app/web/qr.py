"""An address as a picture that a phone's camera reads: for a page and for a terminal.

Always dark on light with four light squares round it, whatever the colours of the page
or the terminal: many cameras read nothing else.
"""

from typing import TYPE_CHECKING, Final

from markupsafe import Markup

if TYPE_CHECKING:
    from segno import QRCode

#: Squares left light on each side, as ISO/IEC 18004 asks.
QUIET: Final = 4
#: Upper and lower square of one character cell, dark being drawn.
BLOCKS: Final = {(0, 0): " ", (1, 0): "\u2580", (0, 1): "\u2584", (1, 1): "\u2588"}
#: Black on white, by number, since a terminal's own names follow its theme.
INK: Final = "\x1b[38;5;16;48;5;231m"
PLAIN: Final = "\x1b[0m"


def _made(address: str) -> "QRCode":
    """Level M mends 15 % of it; a higher one is used where it costs no square."""
    import segno

    return segno.make_qr(address, error="m")


def picture(address: str) -> Markup:
    """An SVG without any style of its own, which the page's policy would refuse."""
    svg = _made(address).svg_inline(
        border=QUIET, dark="#000", light="#fff", omitsize=True, svgclass="qr",
        lineclass=None,
    )  # fmt: skip
    return Markup(svg)


def half_blocks(address: str) -> list[str]:
    """Lines of text, each two rows of squares high, as they look without colours."""
    rows = [[int(dark) for dark in row] for row in _made(address).matrix_iter(1, QUIET)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    return [
        "".join(BLOCKS[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    ]


def for_terminal(address: str) -> list[str]:
    """The same lines with colours, so that a dark terminal shows dark on light."""
    return [f"{INK}{line}{PLAIN}" for line in half_blocks(address)]
