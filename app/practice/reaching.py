"""A reach forward along a tape, from quiet standing."""

from decimal import Decimal
from typing import Final

from app.practice.body import (
    ANKLE,
    FOREARM,
    TRUNK,
    UPPER_ARM,
    UPRIGHT,
    Point,
    Pose,
    neck_of,
    points_of,
)
from app.practice.chance import Track
from app.practice.showing import CM_IN_INCH, Showing

#: The height of the tape: the top of the shoulder.
LEVEL: Final = UPRIGHT + TRUNK
ARM: Final = UPPER_ARM + FOREARM - 0.1
HALF: Final = Decimal("0.5")


class _Reach:
    """The tracks of one reach; distances in cm from the fist's place at the start."""

    def __init__(self, show: Showing) -> None:
        self.show = show
        self.arm, self.out = Track(1.0), Track(0.0)
        self.heel, self.foot = Track(0.0), Track(0.0)
        self.twist, self.hand = Track(0.0), Track(0.0)
        self.mark = Decimal(3 + show.chance.ms((0, 5)))
        show.scene |= {"view": "reach", "mark": f"{self.mark}"}
        show.scene["zero_cm"] = f"{ARM - float(self.mark * CM_IN_INCH):.1f}"

    def lay(self, go: int) -> None:
        """Out, a moment at the farthest point, and back, with the planned fault."""
        show = self.show
        tenths = Decimal(show.ms("reach")) / 10
        reached = max((tenths / HALF).to_integral_value() * HALF, HALF)
        far = float(reached * CM_IN_INCH)
        begins = go + show.ms("react")
        there = begins + show.ms("lean")
        self.out.over(begins, there, far)
        show.start_ms, show.stop_ms, show.distance = go, there, reached
        show.say(begins, "Leans forward, the fist goes along the tape.")
        back = there + show.ms("hold")
        self._fault(begins, there, back)
        end = f"{self.mark + reached}"
        show.say(there, f"The fist stays at {end} in on the tape.")
        if show.planned("steps_off"):
            back = self._step(there, far)
        upright = back + show.ms("lean")
        self.out.over(back, upright, 0.0)
        show.say(back, "Comes back up.")
        self.arm.over(upright, upright + 700, 0.0)
        show.ends_ms = upright + 1500

    def _fault(self, begins: int, there: int, back: int) -> None:
        show = self.show
        kind = show.plan[0].kind if show.plan else ""
        seen = begins + round((there - begins) * show.share(kind))
        if show.planned("heel_rise"):
            self.heel.over(seen, there - 60, 7.0).over(back, back + 500, 0.0)
            show.wrong("heel_rise", seen, "before the farthest point")
            show.say(seen, "The heels leave the floor.")
        elif show.planned("trunk_rotation"):
            self.twist.over(seen - 300, there - 60, 13.0).over(back, back + 600, 0.0)
            show.wrong("trunk_rotation", seen, "the reaching shoulder comes forward")
            show.say(seen, "The reaching shoulder comes round to the front.")
        elif show.planned("help_given"):
            self.hand.over(seen - 250, seen, 1.0).over(back + 400, back + 700, 0.0)
            show.wrong("help_given", seen, "at the belt")
            show.say(seen, "The therapist's hand takes the belt and holds.")

    def _step(self, there: int, far: float) -> int:
        """A foot goes forward at the farthest point and the fist goes on."""
        at = there + 420
        self.foot.over(at, at + 380, 24.0)
        self.out.over(at, at + 500, far + 11)
        self.show.wrong("steps_off", at, "right foot")
        self.show.say(at, "One foot goes forward; the fist goes further.")
        return at + 1300

    def points(self, ms: float) -> tuple[int, ...]:
        """The figure at an instant."""
        out, arm, twist = self.out.at(ms), self.arm.at(ms), self.twist.at(ms)
        heel, foot = self.heel.at(ms), self.foot.at(ms)
        hip = (-0.16 * out + foot * 0.3, UPRIGHT - 0.02 * out + heel * 0.6)
        lean = _lean(hip, twist, out)
        neck = neck_of(hip, lean)
        shoulder = (neck[0] + twist, neck[1])
        fist = (ARM + out - shoulder[0], LEVEL - shoulder[1])
        hanging = (3.0, -55.0)
        right = tuple(h + (f - h) * arm for h, f in zip(hanging, fist, strict=True))
        pose = Pose(
            hip=hip, lean=lean, twist=twist, heels=(heel, heel),
            feet=((foot, ANKLE + foot * 0.05), (0.0, ANKLE)),
            hands=((right[0], right[1]), (6.0, -54.0)),
        )  # fmt: skip
        held = self.hand.at(ms)
        if held > 0.02:
            pose.help = (hip[0] - 13 - 60 * (1 - held), hip[1] + 6)
        return points_of(pose)


def _lean(hip: Point, twist: float, out: float) -> float:
    """How far the trunk is ahead so that a straight arm has the fist that far out."""
    least, most = -8.0, 47.0
    for _ in range(24):
        middle = (least + most) / 2
        x, y = neck_of(hip, middle)
        x, y = ARM + out - x - twist, LEVEL - y
        if x * x + y * y > ARM * ARM:
            least = middle
        else:
            most = middle
    return most


def forward_reach(show: Showing) -> None:
    """The distance is read at the farthest point, before any step."""
    trial = _Reach(show)
    show.points = trial.points
    go = show.cue(
        f"Stands side-on to the tape, the arm straight ahead at shoulder height. The "
        f"fist is at {trial.mark} in on the tape; the heels are down."
    )
    trial.lay(go)
