"""Where words go so that they never cover each other, a pole or a line.

Widths are guessed from the number of letters, since the server cannot measure them.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise, product
from typing import NamedTuple

from app.web.tape.marks import (
    DATES_EM,
    LETTER_EM,
    PHONE_EM,
    ROW_EM,
    Anchor,
    Label,
    Shape,
    Text,
)

#: Rows of labels, and the most percent of the strip that one label may take.
LABEL_ROWS, WIDEST = 3, 92
#: Percent of the strip between the pole and words that stand beside it.
POLE_ASIDE = 2.5
ANCHORS: tuple[Anchor, ...] = ("middle", "start", "end")


class Want(NamedTuple):
    """A label that asks for a place; earlier ones keep their words longest."""

    x: float
    value: str
    words: str
    shape: Shape


class _Spot(NamedTuple):
    row: int
    left: float
    right: float
    x: float
    anchor: Anchor
    line_x: float | None


def _wide(words: str, em: float = PHONE_EM) -> float:
    """Percent of the strip that the words take when it is `em` wide."""
    return len(words) * LETTER_EM * 100 / em


def _seat(x: float, width: float, anchor: Anchor) -> tuple[float, float, float, Anchor]:
    """Left, right, text x and anchor; a centred text is pushed inside the strip."""
    if anchor == "start":
        return x, x + width, x, anchor
    if anchor == "end":
        return x - width, x, x, anchor
    if x < width / 2:
        return 0, width, 0, "start"
    if x > 100 - width / 2:
        return 100 - width, 100, 100, "end"
    return x - width / 2, x + width / 2, x, anchor


def _spots(want: Want) -> Iterator[_Spot]:
    width = _wide(f"{want.value} {want.words}".strip())
    line_x = None if want.shape == "spread" else want.x
    for row, anchor in product(range(LABEL_ROWS), ANCHORS):
        left, right, x, seated = _seat(want.x, width, anchor)
        if left >= 0 and right <= 100 and width <= WIDEST:
            yield _Spot(row, left, right, x, seated, line_x)


def _clash(one: _Spot, other: _Spot) -> bool:
    """Texts overlap, or the line to the deeper one would cross the higher one."""
    if one.row == other.row:
        return one.left < other.right + 3 and other.left < one.right + 3
    high, deep = sorted((one, other), key=lambda spot: spot.row)
    return deep.line_x is not None and high.left - 1 < deep.line_x < high.right + 1


def _seats(wants: Sequence[Want], taken: tuple[_Spot, ...]) -> tuple[_Spot, ...] | None:
    """The first arrangement without a clash, looking for the fewest rows first."""
    if not wants:
        return taken
    for spot in _spots(wants[0]):
        if not any(_clash(spot, other) for other in taken):
            found = _seats(wants[1:], (*taken, spot))
            if found is not None:
                return found
    return None


def _bare(want: Want) -> list[Want]:
    """The value alone; a spread has none, so nothing."""
    return [want._replace(words="")] if want.value else []


def _shorter(wants: Sequence[Want]) -> Iterator[list[Want]]:
    """All words; then values only, from the least important; then fewer labels."""
    for keep in range(len(wants), -1, -1):
        bare = [short for want in wants[keep:] for short in _bare(want)]
        yield [*wants[:keep], *bare]
    for kept in range(len(bare) - 1, 0, -1):
        yield bare[:kept]


def place_labels(wants: Sequence[Want]) -> tuple[tuple[Label, ...], bool]:
    """Placed labels, and whether all of them kept their words."""
    for tried in _shorter(wants):
        seats = _seats(tried, ())
        if seats is not None:
            labels = [_label(w, s) for w, s in zip(tried, seats, strict=True)]
            left_out = [w.x for w in wants[len(tried) :] if w.value]
            return _with_more(tried, labels, left_out), tried == list(wants)
    return (), False


def _label(want: Want, spot: _Spot) -> Label:
    """Places below the foot of the strip; from the second row on a line leads there."""
    y = round((spot.row + 1) * ROW_EM, 2)
    line = round(y - 0.9, 2) if spot.row and spot.line_x is not None else None
    return Label(
        spot.x, y, spot.anchor, want.value, want.words, want.shape, want.x, line
    )


def _with_more(
    wants: Sequence[Want], labels: list[Label], left_out: Sequence[float]
) -> tuple[Label, ...]:
    """A notch without a label counts as "+1" on the nearest one that has one."""
    for x in left_out:
        near = min(range(len(labels)), key=lambda i: abs(wants[i].x - x))
        labels[near] = labels[near]._replace(more=labels[near].more + 1)
    return tuple(labels)


def apart(
    texts: Sequence[tuple[float, str]], pole: float | None
) -> tuple[Text, ...] | None:
    """Anchors under which no date covers another or today's pole.

    A text beside its pin keeps a little away from it, since the pole may stand there.
    """
    aside: dict[Anchor, float] = {"start": 2.5, "middle": 0, "end": -2.5}
    for choice in product(ANCHORS, repeat=len(texts)):
        seats = [
            _seat(x + aside[anchor], _wide(words, DATES_EM), anchor)
            for (x, words), anchor in zip(texts, choice, strict=True)
        ]
        if _clear([(left, right) for left, right, _, _ in seats], pole):
            return tuple(
                Text(round(x, 2), anchor, words)
                for (_, _, x, anchor), (_, words) in zip(seats, texts, strict=True)
            )
    return None


def beside(x: float, words: str, pole: float) -> Text | None:
    """Words that find no place at their pin stand on its side of the pole, if any.

    On the narrowest screen first; words that fit none of these are left to the caller.
    """
    sides: tuple[Anchor, Anchor] = ("end", "start") if x <= pole else ("start", "end")
    for em, anchor in product((DATES_EM, PHONE_EM), sides):
        room = pole if anchor == "end" else 100 - pole
        if _wide(words, em) + POLE_ASIDE <= room:
            aside = -POLE_ASIDE if anchor == "end" else POLE_ASIDE
            return Text(round(pole + aside, 2), anchor, words)
    return None


def _clear(spans: Sequence[tuple[float, float]], pole: float | None) -> bool:
    """Inside the strip, off the pole, and off each other."""
    inside = all(left >= -1 and right <= 101 for left, right in spans)
    pole_free = pole is None or not any(a - 2 < pole < b + 2 for a, b in spans)
    free = all(one[1] + 3 < next_[0] for one, next_ in pairwise(sorted(spans)))
    return inside and pole_free and free
