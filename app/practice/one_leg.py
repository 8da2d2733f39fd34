"""Standing on one leg, seen from the front."""

from typing import Final

from app.practice.body import ANKLE, POINTS, UPRIGHT, Pose, points_of
from app.practice.chance import Track, land, leave
from app.practice.showing import Showing

RAISED: Final = 26.0
#: A sway or small shift of the trunk happens about so often, in ms.
SWAY_MS: Final = (500, 1100)
#: How much of a sway each part follows.
SWAYS: Final = {
    "head": 1.3, "nose": 1.3, "shoulder_r": 1.0, "shoulder_l": 1.0, "hip_r": 0.3,
    "hip_l": 0.3, "elbow_r": 0.9, "elbow_l": 0.9, "hand_r": 0.9, "hand_l": 0.9,
}  # fmt: skip


class _OneLeg:
    """The tracks of one hold. The left leg stands, the right one is raised."""

    def __init__(self, show: Showing) -> None:
        self.show = show
        self.lift, self.sway = Track(0.0), Track(0.0)
        self.beside, self.arms, self.hand = Track(0.0), Track(1.0), Track(0.0)

    def lay(self, go: int) -> None:
        """Up, held, and down again or to the limit."""
        show = self.show
        leaves = go + show.ms("react")
        up = leaves + show.ms("raise")
        limit = int(show.facts["limit"]) * 1000
        falls = leaves + show.ms("hold")
        stop = min(falls, leaves + limit)
        lowers = stop - 300 if falls < leaves + limit else stop + 600
        self.lift.over(leaves, up, 1.0, leave)
        down = stop if lowers < stop else lowers + 350
        self.lift.over(lowers, down, 0.0, land)
        show.start_ms, show.stop_ms = leaves, stop
        show.say(leaves, "The right foot leaves the floor.")
        self._sways(leaves, stop)
        self._fault(up, stop)
        if lowers > stop:
            show.say(stop, "Time. The foot is still up.", cue=True)
        else:
            self.arms.over(stop - 250, stop + 200, 0.35).over(
                stop + 900, stop + 1500, 1
            )
            show.say(stop, "The right foot is back on the floor.")
        show.ends_ms = down + 1600

    def _sways(self, leaves: int, stop: int) -> None:
        at, side = leaves, 1
        while at < stop:
            at += self.show.chance.ms(SWAY_MS)
            far = self.show.chance.between(0.4, 1.0) * self.show.ms("sway")
            self.sway.to(at, side * far)
            side = -side
        self.sway.over(at, at + 800, 0.0)

    def _fault(self, up: int, stop: int) -> None:
        show = self.show
        kind = show.plan[0].kind if show.plan else ""
        at = up + round((stop - up) * show.share(kind))
        if show.planned("leg_braced"):
            self.beside.over(at - 300, at, 1.0).hold(stop - 300)
            self.beside.over(stop - 250, stop, 0.0)
            show.wrong("leg_braced", at, "against the standing calf")
            show.say(at, "The raised foot rests against the other calf.")
        elif show.planned("help_given"):
            self.hand.over(at - 250, at, 1.0).over(at + 900, at + 1200, 0.0)
            show.wrong("help_given", at, "at the shoulder")
            show.say(at, "Tips to one side; the therapist's hand is on the shoulder.")

    def points(self, ms: float) -> tuple[int, ...]:
        """The figure at an instant."""
        lift, sway = self.lift.at(ms), self.sway.at(ms)
        shift = 6.0 * lift
        pose = Pose(
            x=shift, turn=0.0, hip=(0.0, UPRIGHT), lean=0.0,
            feet=((-9 * lift, ANKLE + RAISED * lift), (0.0, ANKLE)),
            folded=self.arms.at(ms),
            foot_aside=(
                shift * 0.7 - 15.5 * self.beside.at(ms) * lift, shift * 0.95
            ),
        )  # fmt: skip
        held = self.hand.at(ms)
        points = list(points_of(pose))
        _swayed(points, sway)
        if held > 0.02:
            i = 2 * POINTS.index("help")
            points[i : i + 2] = [round((-26 - 50 * (1 - held)) * 10), -1360]
        return tuple(points)


def _swayed(points: list[int], sway: float) -> None:
    """Head, shoulders and arms go aside; the hips a little."""
    for name, share in SWAYS.items():
        points[2 * POINTS.index(name)] += round(sway * share * 10)


def one_leg(show: Showing) -> None:
    """The clock runs from the foot leaving the floor until it is down, or the limit."""
    show.scene |= {"view": "front", "limit": show.facts["limit"]}
    trial = _OneLeg(show)
    show.points = trial.points
    go = show.cue(
        "Seen from the front. Stands on both feet, arms across the chest, eyes open."
    )
    trial.lay(go)
