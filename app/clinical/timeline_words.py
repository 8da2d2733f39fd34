"""Marks of a time picture, and words beside them that cover nothing.

Pure geometry, beside `timeline`. Widths of words are guessed. What finds no place keeps
its mark, and its words stand in the table alone.
"""

from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

from app.clinical.timeline import Room, in_em

Side = Literal["above", "below", "right", "left", "over", "under"]
#: Half a mark, em.
HALF_EM: Final = 0.4
#: A letter of words beside a mark, which are bold.
BOLD_EM: Final = 0.66
_NEAR_EM: Final = 1.2
#: What has no number lies in a low row, where words have room beside it alone.
_FLAT: Final = ("unable", "declined", "stopped")


class Mark(NamedTuple):
    """`of` are the facts it stands for, `says` its words on the side `at`.

    `over` and `under` are at the right of it, a little up or down.
    """

    x: float
    y: float
    shape: str
    of: tuple[int, ...]
    says: str = ""
    at: str = ""
    off: int = 0


class Box(NamedTuple):
    """In em, from the plot's left edge and the lane's top."""

    left: float
    top: float
    right: float
    bottom: float

    def clear_of(self, other: "Box") -> bool:
        return (
            self.right <= other.left or other.right <= self.left
            or self.bottom <= other.top or other.bottom <= self.top
        )  # fmt: skip

    def within(self, other: "Box") -> bool:
        return (
            self.left >= other.left and self.top >= other.top
            and self.right <= other.right and self.bottom <= other.bottom
        )  # fmt: skip


def worded(
    drawn: Sequence[Mark],
    taken: Sequence[Box],
    lines: Sequence[Box],
    bounds: Box,
    room: Room,
) -> list[Mark]:
    """Words beside the latest first, then the first, then from the newest back.

    Those of the latest may lie on one of the `lines` rather than be missing.
    """
    boxes = [dot_box(mark, room) for mark in drawn]
    words: list[Box] = []
    placed = [mark._replace(says="") for mark in drawn]
    for n in _turns(drawn, room):
        hard = [*taken, *words, *boxes[:n], *boxes[n + 1 :]]
        tries = [[*hard, *lines], *([hard] if drawn[n].shape == "latest" else [])]
        sides = (_side(drawn[n], others, bounds, room) for others in tries)
        found = next((side for side in sides if side is not None), None)
        if found is not None:
            placed[n] = drawn[n]._replace(at=found)
            words.append(word_box(drawn[n], found, room))
    return placed


def _turns(drawn: Sequence[Mark], room: Room) -> list[int]:
    latest = [n for n, mark in enumerate(drawn) if mark.shape == "latest"]
    turns = dict.fromkeys([*latest, *range(len(drawn))[:1], *range(len(drawn))[::-1]])
    ends = [drawn[n] for n in latest]
    return [n for n in turns if not any(_beside(drawn[n], end, room) for end in ends)]


def _side(mark: Mark, others: Sequence[Box], bounds: Box, room: Room) -> Side | None:
    """The first side on which the words are inside and clear of all others."""
    for side in _sides(mark):
        box = word_box(mark, side, room)
        if box.within(bounds) and all(map(box.clear_of, others)):
            return side
    return None


def _beside(mark: Mark, latest: Mark, room: Room) -> bool:
    """So near to the latest that its words would be taken for the latest's."""
    return mark is not latest and abs(in_em(mark.x - latest.x, room)) < _NEAR_EM


def _sides(mark: Mark) -> tuple[Side, ...]:
    if not mark.says:
        return ()
    if mark.shape in _FLAT:
        return "right", "left"
    if mark.shape == "latest":
        return "right", "above", "below", "over", "under", "left"
    return "above", "below", "over", "under", "right", "left"


def flag_box(flag: Mark, room: Room) -> Box:
    at = in_em(flag.x, room)
    right = at + (1.3 if flag.says else 0.75)
    return Box(at - 0.15, flag.y - 1.15, right, flag.y + 0.4)


def dot_box(mark: Mark, room: Room) -> Box:
    at = in_em(mark.x, room)
    return Box(at - HALF_EM, mark.y - HALF_EM, at + HALF_EM, mark.y + HALF_EM)


def word_box(mark: Mark, side: Side, room: Room) -> Box:
    at, y = in_em(mark.x, room), mark.y
    wide = len(mark.says) * BOLD_EM
    if side == "above":
        return Box(at - wide / 2, y - 1.5, at + wide / 2, y - 0.5)
    if side == "below":
        return Box(at - wide / 2, y + 0.5, at + wide / 2, y + 1.5)
    left = at - 0.6 - wide if side == "left" else at + 0.6
    down = {"over": -0.9, "under": 0.9}.get(side, 0.0)
    return Box(left, y + down - 0.5, left + wide, y + down + 0.5)
