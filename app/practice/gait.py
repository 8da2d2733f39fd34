"""A straight walk over a measured course, from standing at the first line."""

from typing import Final

from app.practice.body import Pose, points_of
from app.practice.chance import Track
from app.practice.showing import Showing, length_cm
from app.practice.walking import Walk, quiver, stills_of, stride

#: From the ankle forward to the toes and back to the heel, in cm.
TOES: Final = 17.0
HEEL: Final = 6.0
RUN_OUT: Final = 110.0
#: What the lane measures where it is not as long as charted.
OTHER_COURSE: Final = "12 ft"


def straight_walk(show: Showing) -> None:
    """The clock runs from the first step until a foot is fully over the end line."""
    course = OTHER_COURSE if show.planned("wrong_course") else "10 ft"
    line = length_cm(course)
    show.scene |= {"view": "lane", "course": course, "line_cm": f"{line:.0f}"}
    show.scene["device"] = show.facts.get("device", "none")
    if show.planned("wrong_course"):
        show.wrong("wrong_course", 0, course)
    go = show.cue(
        f"Stands with the toes at the first line. The tape along the lane reads "
        f"{course} at the end line."
    )
    walk = Walk(line + RUN_OUT, show.ms("step"), show.ms("speed"))
    walk.lay(go + show.ms("react"), _pauses(show, walk, line))
    _key(show, walk, line)
    show.points = _Lane(show, walk).points


def _pauses(show: Showing, walk: Walk, line: float) -> dict[int, int]:
    """Before which steps the person stands still, and for how long."""
    pauses: dict[int, int] = {}
    if show.case.pace.get("freeze"):
        pauses[max(walk.steps // 3, 2)] = show.ms("freeze")
    if show.planned("slows_early"):
        number = int((line - TOES) / walk.step - 1.5)
        pauses[max(number + 1, 2)] = 1500 + show.chance.ms((0, 900))
    return pauses


def _over(walk: Walk, line: float) -> int:
    """The first instant at which a whole foot is past the line."""
    need = line + TOES + HEEL
    low, high = walk.begins_ms, walk.ends_ms
    while high - low > 1:
        middle = (low + high) // 2
        over = max(walk.foot(side, middle)[0] for side in (0, 1)) >= need
        low, high = (low, middle) if over else (middle, high)
    return high


def _key(show: Showing, walk: Walk, line: float) -> None:
    show.start_ms = walk.begins_ms
    show.say(walk.begins_ms, "The first foot lifts; walking.")
    show.stop_ms = _over(walk, line)
    stills = [s for s in stills_of(walk) if s[0] < show.stop_ms]
    for since, until in stills:
        last = since == stills[-1][0]
        if last and show.planned("slows_early"):
            show.wrong("slows_early", since, "short of the end line")
            show.say(since, "Stands still; the toes are short of the end line.")
        else:
            show.say(since, "The feet stick to the floor, the heels quiver.")
        show.say(until, "Walks on.")
    helped = show.planned("help_given")
    if helped:
        at = walk.reached(line * show.share("help_given"))
        show.wrong("help_given", at, "at the belt")
        show.say(at, "The therapist's hand takes the belt and holds.")
        show.lines.sort(key=lambda one: one.at_ms)
    show.say(show.stop_ms, "One foot is past the end line, heel and all.")
    show.ends_ms = walk.ends_ms + 900
    show.say(walk.ends_ms, "Stands beyond the line.")


class _Lane:
    """The figure on its way along the lane."""

    def __init__(self, show: Showing, walk: Walk) -> None:
        self.walk, self.case = walk, show.case
        self.device = show.facts.get("device", "none")
        self.hand = Track(0.0)
        for fault in show.faults:
            if fault.kind == "help_given":
                at = fault.at_ms
                self.hand.over(at - 250, at, 1.0).over(at + 1100, at + 1400, 0.0)
        self.stills = stills_of(walk)

    def points(self, ms: float) -> tuple[int, ...]:
        """The figure at an instant."""
        pose = Pose(x=-TOES + self.walk.body(ms))
        stride(pose, self.walk, ms, self.case.condition, self.device)
        if self.case.condition == "parkinson":
            quiver(pose, self.stills, ms)
        held = self.hand.at(ms)
        if held > 0.02:
            pose.help = (-14 - 60 * (1 - held), pose.hip[1] + 6)
        return points_of(pose)
