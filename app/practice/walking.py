"""A walk seen from the side: footfalls planted on the floor, a device, a freeze."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt
from typing import Final

from app.practice.body import ANKLE, SHANK, THIGH, UPRIGHT, Point, Pose
from app.practice.chance import Track, steady

#: How far the trunk is ahead while walking, and how far the arms swing, in cm.
LEAN: Final = {"parkinson": 9.0, "none": 3.0}
SWING: Final = {"parkinson": 5.0, "none": 15.0}
CANES: Final = {"cane", "quad_cane"}
WALKERS: Final = {"walker", "rollator"}


@dataclass(slots=True)
class Walk:
    """`length` cm in whole steps from standing to standing; a track of steps done."""

    length: float
    step: float
    speed: float
    steps: int = 0
    done: Track = field(default_factory=lambda: Track(0.0))
    ends_ms: int = 0
    begins_ms: int = 0

    def __post_init__(self) -> None:
        self.steps = max(round(self.length / self.step), 2)
        self.step = self.length / self.steps

    def lay(self, begins: int, pauses: Mapping[int, int]) -> int:
        """Walk from `begins`, pausing before the steps named; when the walk is over."""
        each = round(self.step / self.speed * 1000)
        now = self.begins_ms = begins
        self.done.hold(now)
        for number in range(1, self.steps + 2):
            if number in pauses:
                now += pauses[number]
                self.done.hold(now)
            slow = 1.25 if number in (1, self.steps + 1) else 1
            now += round(each * slow)
            self.done.to(now, number, steady)
        self.ends_ms = now
        return now

    def reached(self, distance: float) -> int:
        """The first instant at which the body has come that far."""
        low, high = self.begins_ms, self.ends_ms
        while high - low > 1:
            middle = (low + high) // 2
            past = self.body(middle) >= distance
            low, high = (low, middle) if past else (middle, high)
        return high

    def body(self, ms: float) -> float:
        """How far the body has come."""
        return min(self.done.at(ms), self.steps) * self.step

    def foot(self, side: int, ms: float) -> tuple[float, float]:
        """How far one foot has come, and its share of a swing (0 on the floor)."""
        done = self.done.at(ms)
        number = int(done) + 1
        swinging = number % 2 == side and done < self.steps + 1
        if not swinging:
            return self._fall(number - 1 if (number - 1) % 2 == side else number - 2), 0
        share = done - int(done)
        last, to = self._fall(number - 2), self._fall(number)
        return last + (to - last) * share, share

    def _fall(self, number: int) -> float:
        """Where footfall `number` lands; both feet begin at 0 and end together."""
        if number < 1:
            return 0.0
        return min((number + 0.5) * self.step, self.length)


def stride(pose: Pose, walk: Walk, ms: float, condition: str, device: str) -> None:
    """Put feet, hip, arms and device of that instant into the pose (local places)."""
    body = walk.body(ms)
    feet: list[Point] = []
    heels: list[float] = []
    for side in (0, 1):
        at, share = walk.foot(side, ms)
        lift = 4 * share * (1 - share)
        feet.append((at - body, ANKLE + 5 * lift))
        heels.append(9 * lift * (1 - share))
    far = max(abs(feet[0][0]), abs(feet[1][0]))
    hip = min(ANKLE + sqrt(max((THIGH + SHANK) ** 2 - far * far, 1.0)), UPRIGHT)
    pose.hip = (0.0, hip - 0.5)
    pose.feet, pose.heels = (feet[0], feet[1]), (heels[0], heels[1])
    pose.lean = LEAN.get(condition, LEAN["none"])
    swing = SWING.get(condition, SWING["none"]) / max(walk.step / 2, 1)
    pose.hands = ((2 + feet[1][0] * swing, -54.0), (2 + feet[0][0] * swing, -54.0))
    with_device(pose, device, feet[1][0])


def with_device(pose: Pose, device: str, other_foot: float) -> None:
    """The hands on what the person walks with; its foot goes with the far leg."""
    shoulder = pose.hip[1] + 50
    if device in CANES:
        top = (12 + other_foot * 0.25, 80.0)
        foot = (14 + other_foot, 0.0)
        pose.aid = (top, foot, foot)
        pose.hands = ((top[0] - pose.lean, top[1] - shoulder), pose.hands[1])
    elif device in WALKERS:
        top = (28.0, 84.0)
        pose.aid = (top, (40.0, 0.0), (6.0, 0.0))
        grip = (top[0] - pose.lean, top[1] - shoulder)
        pose.hands = (grip, grip)


def stills_of(walk: Walk) -> list[tuple[int, int]]:
    """From when to when a walk stands still on its way."""
    found: list[tuple[int, int]] = []
    at = walk.begins_ms
    while at < walk.ends_ms - 20:
        if walk.done.at(at + 20) > walk.done.at(at):
            at += 20
            continue
        since = at
        while at < walk.ends_ms and walk.done.at(at + 20) == walk.done.at(at):
            at += 20
        found.append((since, at))
    return found


def quiver(pose: Pose, stills: list[tuple[int, int]], ms: float) -> None:
    """Heels that tremble by turns, four times a second, while the feet will not go."""
    for since, until in stills:
        if since < ms < until:
            beat = ms % 240 / 240
            height = (beat if beat < 0.5 else 1 - beat) * 12
            pose.heels = (height, 6 - height)
            pose.lean += 4
