"""Rising from a chair and sitting down again: five times, or for 30 seconds."""

from bisect import bisect_right
from dataclasses import dataclass
from typing import Final

from app.practice.body import ANKLE, UPRIGHT, Point, Pose, mixed, neck_of, points_of
from app.practice.chance import Track, ease, land, leave
from app.practice.showing import HEAD_START, Showing, length_cm

FIVE: Final = 5
WINDOW_MS: Final = 30_000
#: Where hips lie behind the feet on the seat, and above it, in cm.
SEAT_BACK: Final = 34.0
SEAT_OVER: Final = 9.0
#: Up to here the hips are on the seat and only the trunk moves.
ON_SEAT: Final = 0.18
#: How long the trunk takes to come back once the seat is met, in ms.
BACK_MS: Final = 400
#: How far up a stand gets that is not straight.
HALF_STOOD: Final = 0.7
#: The hips halfway up: a stand under way at the end of the time counts beyond it.
HALFWAY: Final = (1 + ON_SEAT) / 2
#: The feet's place in the room; the seat's front edge is at 0.
FEET_AT: Final = 8.0


def raised(up: float, seat_cm: float) -> tuple[Point, float]:
    """Hip and lean at a share of the way up: first the trunk goes forward, then up."""
    up = min(max(up, 0.0), 1.0)
    rising = max((up - ON_SEAT) / (1 - ON_SEAT), 0.0)
    low = seat_cm + SEAT_OVER
    hip = (-SEAT_BACK * (1 - ease(up)), low + (UPRIGHT - low) * rising)
    lean = 1 + 29 * (ease(up / 0.35) if up < 0.35 else ease((1 - up) / 0.65))
    return hip, lean


def pushing(hip: Point, lean: float) -> Point:
    """Where a hand is, from the shoulder, that pushes on the thigh."""
    neck = neck_of(hip, lean)
    knee = (20.0, max(hip[1] * 0.5 + 24, 48.0))
    thigh = mixed(hip, knee, 0.6)
    return (thigh[0] - neck[0], thigh[1] + 8 - neck[1])


@dataclass(slots=True)
class _Rep:
    """One stand: when it leaves the seat, is up, starts down and is seated again."""

    begins: int
    up: int
    down: int
    seated: int
    full: bool


class Rising:
    """The tracks of one such trial while they are laid."""

    def __init__(self, show: Showing) -> None:
        self.show = show
        self.seat_cm = length_cm(show.facts["seat_height"])
        self.up = Track(0.0)
        self.push = Track(0.0)
        self.hand = Track(0.0)
        self.reps: list[_Rep] = []

    def rep(self, number: int, begins: int) -> _Rep:
        """Lay one stand from `begins` on, with the faults planned for it."""
        show = self.show
        slower = 1 + (number - 1) * show.ms("slowing") / 1000
        short, arms, helped = (
            show.at(kind, number) for kind in ("not_upright", "arms_used", "help_given")
        )
        rise = round(show.ms("rise") * slower * (1.35 if arms or helped else 1))
        up = begins + rise
        down = up + (60 if short else round(show.ms("upright") * slower))
        seated = down + round(show.ms("lower") * slower)
        top = HALF_STOOD if short else 1.0
        self.settle(begins)
        self.up.over(begins, up, top).over(down, seated, ON_SEAT, land)
        rep = _Rep(begins, up, down, seated, not short)
        self.reps.append(rep)
        self._say(rep, arms=arms, helped=helped)
        return rep

    def _say(self, rep: _Rep, *, arms: bool, helped: bool) -> None:
        show = self.show
        if arms:
            self.push.over(max(rep.begins - 250, 0), rep.begins + 120, 1.0)
            self.push.over(rep.up - 200, rep.up + 150, 0.0)
            show.wrong("arms_used", rep.begins + 120, f"stand {len(self.reps)}")
            show.say(rep.begins, "Both hands go to the thighs and push; rising.")
        elif helped:
            self.hand.over(rep.begins + 100, rep.begins + 350, 1.0)
            self.hand.over(rep.up, rep.up + 300, 0.0)
            show.wrong("help_given", rep.begins + 350, f"stand {len(self.reps)}")
            show.say(rep.begins, "Rises.")
            show.say(rep.begins + 350, "The therapist's hand takes the belt and lifts.")
        else:
            show.say(rep.begins, "Rises.")
        if rep.full:
            show.say(rep.up, "Straight.")
        else:
            show.wrong("not_upright", rep.up, f"stand {len(self.reps)}")
            show.say(rep.up, "Hips and knees still bent, already going down.")
        show.say(rep.seated, "On the seat.")

    def settle(self, until: int) -> None:
        """The trunk comes back after a sit, as far as there is time for it."""
        if self.reps:
            seated = self.reps[-1].seated
            share = min((until - seated) / BACK_MS, 1.0)
            back = min(seated + BACK_MS, until)
            self.up.over(seated, back, ON_SEAT * (1 - share), leave)

    def next_begin(self, rep: _Rep) -> int:
        """When the stand after this one begins."""
        return rep.seated + self.show.ms("seated")

    def points(self, ms: float) -> tuple[int, ...]:
        """The figure at an instant."""
        hip, lean = raised(self.up.at(ms), self.seat_cm)
        push = self.push.at(ms)
        hand = pushing(hip, lean)
        pose = Pose(
            x=FEET_AT, hip=hip, lean=lean, feet=((0.0, ANKLE), (0.0, ANKLE)),
            hands=(hand, hand), folded=1 - push,
        )  # fmt: skip
        if self.hand.at(ms) > 0.02:
            away = 60 * (1 - self.hand.at(ms))
            pose.help = (hip[0] - 13 - away, hip[1] + 6)
        return points_of(pose)


def _opened(show: Showing) -> tuple[Rising, int]:
    """Seated, with Ready and Go said: the tracks, and when the first stand begins."""
    rising = Rising(show)
    seat = show.facts["seat_height"]
    show.scene |= {"view": "chair", "seat": seat, "seat_cm": f"{rising.seat_cm:.0f}"}
    go = show.cue(
        f"Sits on a chair, arms folded on the chest, both feet down. The tape at the "
        f"seat reads {seat}."
    )
    if show.planned("seat_high"):
        show.wrong("seat_high", 0, seat)
    begins = go + show.ms("react")
    if show.planned("early_start"):
        begins = go - show.chance.ms(HEAD_START)
        show.wrong("early_start", begins, "the trunk was already moving")
        go_line = show.lines.pop()
        show.say(begins, "Leans forward and starts to rise.")
        show.lines.append(go_line)
    show.start_ms = go
    show.points = rising.points
    return rising, begins


def five_times(show: Showing) -> None:
    """Five stands; the clock runs from "go" to the seat after the fifth."""
    rising, begins = _opened(show)
    for number in range(1, FIVE + 1):
        rep = rising.rep(number, begins)
        begins = rising.next_begin(rep)
    show.splits = [rep.seated for rep in rising.reps]
    show.stop_ms = show.splits[-1]
    rising.settle(show.stop_ms + BACK_MS)
    show.ends_ms = show.stop_ms + 1800


def thirty_seconds(show: Showing) -> None:
    """As many as fit in 30 seconds; more than halfway up at the end counts."""
    rising, begins = _opened(show)
    show.stop_ms = show.start_ms + WINDOW_MS
    number = 1
    while begins < show.stop_ms - 250:
        rep = rising.rep(number, begins)
        begins, number = rising.next_begin(rep), number + 1
    rising.settle(begins + BACK_MS)
    show.count = sum(_counts(rep, show.stop_ms, rising) for rep in rising.reps)
    show.ends_ms = max(rising.reps[-1].seated, show.stop_ms) + 1500
    _call_stop(show)
    show.at_stop = f"At the stop: {_seen_at(rising, show.stop_ms)}."


def _counts(rep: _Rep, stop_ms: int, rising: Rising) -> bool:
    """Whether a stand counts: straight within the time, or past halfway at its end."""
    return rep.full and (rep.up <= stop_ms or rising.up.at(stop_ms) > HALFWAY)


def _seen_at(rising: Rising, ms: int) -> str:
    """How far up the last stand is, which its count is judged by.

    Whoever is on the way down was straight before, unless the stand was cut short: the
    sentence that said so may have given way to the stop.
    """
    rep = rising.reps[-1]
    if ms >= rep.seated:
        return "on the seat"
    if ms < rep.up:
        half = "hips more than" if rising.up.at(ms) > HALFWAY else "less than"
        return f"{half} halfway up"
    if not rep.full:
        return "hips and knees still bent, on the way down"
    return "straight" if ms < rep.down else "on the way down from straight"


def _call_stop(show: Showing) -> None:
    """The therapist says stop when the time is up; nearby sentences give way."""
    near = 350
    kept = [line for line in show.lines if abs(line.at_ms - show.stop_ms) >= near]
    at = bisect_right([line.at_ms for line in kept], show.stop_ms)
    show.lines = kept
    show.say(show.stop_ms, "Stop", cue=True)
    show.lines.insert(at, show.lines.pop())
