"""What the page gets of a timeline: enough to draw it, and nothing of the key.

Points are sent as differences from frame to frame, sentences without their instants:
the channel `said` is drawn between frames like a point, and a sentence is due when it
passes the next whole number. So the page is right to the millisecond, and no instant of
the key, no fault's name and no answer stands in its source.
"""

from itertools import pairwise
from typing import Any, Final

from app.practice.body import POINTS
from app.practice.case import Timeline
from app.practice.stepping import POINTS_ABOVE
from app.practice.timeline import line_at

#: Steps of the channel between two whole numbers.
FINE: Final = 1000


def motion(timeline: Timeline) -> dict[str, Any]:
    """The figure's data for the page, as plain JSON values."""
    times = [frame.at_ms for frame in timeline.frames]
    points = [frame.points for frame in timeline.frames]
    above = timeline.scene["view"] == "squares"
    return {
        "points": list(POINTS_ABOVE if above else POINTS),
        "steps": differences(times),
        "first": list(points[0]),
        "moves": [
            [b - a for a, b in zip(one, other, strict=True)]
            for one, other in pairwise(points)
        ],
        "said": said(timeline, times),
        "lines": [{"text": line.text, "cue": line.cue} for line in timeline.lines],
    }


def differences(numbers: list[int]) -> list[int]:
    """Each number from the one before; the first as it is."""
    return [b - a for a, b in zip([0, *numbers], numbers, strict=False)]


def said(timeline: Timeline, times: list[int]) -> list[int]:
    """The channel that passes a whole number when a sentence is due."""
    channel = [FINE // 2] * len(times)
    for i in range(1, len(times)):
        before, now = times[i - 1], times[i]
        done = line_at(timeline.lines, before)
        if line_at(timeline.lines, now) == done:
            channel[i] = channel[i - 1]
            continue
        share = (timeline.lines[done].at_ms - before) / (now - before)
        channel[i - 1] = round((done + 1 - share) * FINE)
        channel[i] = round((done + 2 - share) * FINE)
    return channel
