"""A test, or an activity, over an episode: its lane, and the sentence that says it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.clinical.timeline_lanes import LaneView, Point
from app.clinical.timeline_rows import Happened, RowView, row
from app.web.care_facts import Care
from app.web.result_view import Chip

#: What is known of a day on which somebody did not try.
NOT_TRIED = "declined"


@dataclass(frozen=True, slots=True)
class KeyLine:
    """A mark and what it means; `facts` are the rows of the table that it is."""

    shape: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CareLane:
    """Ready to draw: `view` with a tape, or `row` where nothing had a number."""

    name: str
    link: str
    says: str
    chip: Chip | None
    view: LaneView | None
    row: RowView | None
    key: tuple[KeyLine, ...]
    label: str


def row_of(care: Care, points: Sequence[Point]) -> RowView:
    """What has no number, without a tape."""
    return row("none", care.span, [Happened(p.fact, p.day, p.shape) for p in points])


def shapes_of(lane: CareLane) -> Iterator[str]:
    """Which marks a lane has, for the key of the page."""
    if lane.view is not None:
        yield from (seen.it.shape for seen in lane.view.marks)
        if lane.view.joins:
            yield "join"
        if lane.view.bracket is not None:
            yield "error"
        if lane.view.tallies:
            yield "dashes"
        if any(seen.it.off for seen in lane.view.marks):
            yield "off"
    if lane.row is not None:
        yield from (seen.it.shape for seen in lane.row.marks)
