"""The figure's points: a stick-and-capsule person of 170 cm, drawn by ourselves.

Lengths in cm, x along the floor, y upward; seen from the side, or from the front where
`turn` is 0. Knees and elbows follow from two lengths and two ends (square roots only).
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final

Point = tuple[float, float]
THIGH: Final = 42.0
SHANK: Final = 42.0
UPPER_ARM: Final = 29.0
FOREARM: Final = 29.0
TRUNK: Final = 50.0
ANKLE: Final = 8.0
FOOT: Final = 19.0
#: Where hip and shoulder lie to the side of the middle, seen from the front.
HIP_WIDE: Final = 9.0
SHOULDER_WIDE: Final = 17.0
UPRIGHT: Final = ANKLE + SHANK + THIGH - 0.2

#: The order of a frame's points, each two numbers; the page's script has the same list.
POINTS: Final = (
    "head", "shoulder_r", "shoulder_l", "hip_r", "hip_l",
    "elbow_r", "hand_r", "elbow_l", "hand_l",
    "knee_r", "ankle_r", "toe_r", "knee_l", "ankle_l", "toe_l",
    "aid_top", "aid_foot", "aid_back", "help", "nose",
)  # fmt: skip
#: Where a point that is not seen just now is put: far above the picture.
AWAY: Final[Point] = (0.0, 900.0)


@dataclass(slots=True)
class Pose:
    """What has to be known of one instant; everything is as the person faces.

    `x` is where the body's middle is in the room, the rest is relative to it. `turn`
    is 1 facing right, -1 facing left, 0 facing us. `hands` are from the shoulder,
    `folded` 1 is arms crossed on the chest; `aid` is a device's top, foot and back
    foot, `help` a therapist's hand.
    """

    x: float = 0.0
    turn: float = 1.0
    hip: Point = (0.0, UPRIGHT)
    lean: float = 0.0
    twist: float = 0.0
    feet: tuple[Point, Point] = ((0.0, ANKLE), (0.0, ANKLE))
    heels: tuple[float, float] = (0.0, 0.0)
    hands: tuple[Point, Point] = ((4.0, -50.0), (4.0, -50.0))
    folded: float = 0.0
    foot_aside: tuple[float, float] = (0.0, 0.0)
    aid: tuple[Point, Point, Point] | None = None
    help: Point | None = None


def joint(top: Point, end: Point, first: float, second: float, bend: float) -> Point:
    """Where the knee or elbow is: `bend` +1 forward, -1 backward."""
    dx, dy = end[0] - top[0], end[1] - top[1]
    far = max(sqrt(dx * dx + dy * dy), 0.01)
    reach = min(far, first + second - 0.01)
    along = (first * first - second * second + reach * reach) / (2 * reach)
    off = sqrt(max(first * first - along * along, 0.0))
    ux, uy = dx / far, dy / far
    return (
        top[0] + along * ux - bend * off * uy,
        top[1] + along * uy + bend * off * ux,
    )


def held(top: Point, end: Point, longest: float) -> Point:
    """`end`, drawn in to what the limb can reach."""
    dx, dy = end[0] - top[0], end[1] - top[1]
    far = sqrt(dx * dx + dy * dy)
    if far <= longest:
        return end
    return (top[0] + dx * longest / far, top[1] + dy * longest / far)


def _leg(pose: Pose, side: int, hip: Point) -> list[Point]:
    """Knee, ankle and toe of one leg; side 0 right, 1 left."""
    fx, fy = pose.feet[side]
    heel = pose.heels[side]
    ankle = held(hip, (fx - 2 + heel * 0.25, fy + heel), THIGH + SHANK)
    knee = joint(hip, ankle, THIGH, SHANK, 1.0)
    tip = (ankle[0] + FOOT - heel * 0.3, max(ankle[1] - ANKLE + 3 - heel, 3.0))
    return [knee, ankle, tip]


def neck_of(hip: Point, lean: float) -> Point:
    """The top of the trunk over a hip, `lean` cm ahead of it."""
    return (hip[0] + lean, hip[1] + sqrt(max(TRUNK * TRUNK - lean * lean, 1.0)))


def mixed(one: Point, other: Point, share: float) -> Point:
    """Between two points: `share` of the way to the other."""
    return (one[0] + (other[0] - one[0]) * share, one[1] + (other[1] - one[1]) * share)


def _arm(pose: Pose, side: int, top: Point) -> list[Point]:
    """Elbow and hand of one arm."""
    want = (top[0] + pose.hands[side][0], top[1] + pose.hands[side][1])
    hand = held(top, want, UPPER_ARM + FOREARM)
    elbow = joint(top, hand, UPPER_ARM, FOREARM, -1.0)
    crossed = ((top[0] + 8, top[1] - 26), (top[0] + 21, top[1] - 17))
    return [
        mixed(elbow, crossed[0], pose.folded), mixed(hand, crossed[1], pose.folded)
    ]  # fmt: skip


def points_of(pose: Pose) -> tuple[int, ...]:
    """The frame's numbers, in tenths of a cm, y downward, in the order of POINTS."""
    neck = neck_of(pose.hip, pose.lean)
    head = (neck[0] + pose.lean * 0.28 + 2, neck[1] + 19 - abs(pose.lean) * 0.08)
    right = (neck[0] + pose.twist, neck[1])
    left = (neck[0] - pose.twist, neck[1])
    arms = [*_arm(pose, 0, right), *_arm(pose, 1, left)]
    legs = [*_leg(pose, 0, pose.hip), *_leg(pose, 1, pose.hip)]
    local = [head, right, left, pose.hip, pose.hip, *arms, *legs]
    room = [_placed(pose, p, _sideways(pose, i)) for i, p in enumerate(local)]
    aid = pose.aid
    room += [_placed(pose, p, SHOULDER_WIDE) for p in aid] if aid else [AWAY] * 3
    room.append(_placed(pose, pose.help, 0.0) if pose.help else AWAY)
    room.append(_placed(pose, (head[0] + 12, head[1] - 2), 0.0))
    return flat(room)


def flat(points: list[Point]) -> tuple[int, ...]:
    """Points as they are sent: tenths of a cm, y downward as pictures have it."""
    return tuple(round(v * 10) for x, y in points for v in (x, -y))


def _sideways(pose: Pose, i: int) -> float:
    """How far to the person's right a point lies, in cm."""
    part, _, side = POINTS[i].partition("_")
    if not side:
        return 0.0
    sign, foot = (1.0, 0) if side == "r" else (-1.0, 1)
    if part == "hand":
        return sign * SHOULDER_WIDE * (1 - 1.3 * pose.folded)
    if part == "elbow":
        return sign * (SHOULDER_WIDE + 4)
    if part == "shoulder":
        return sign * SHOULDER_WIDE
    shift = pose.foot_aside[foot] * {"knee": 0.5, "ankle": 1.0, "toe": 1.0}.get(part, 0)
    return sign * HIP_WIDE + shift


def _placed(pose: Pose, point: Point, aside: float) -> Point:
    """From the person's own directions to the room's: a turn narrows and flips."""
    across = sqrt(max(1 - pose.turn * pose.turn, 0.0))
    seen = max(across, 0.15)
    return (pose.x + pose.turn * point[0] - aside * seen, point[1])
