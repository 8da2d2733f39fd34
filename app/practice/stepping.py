"""Four squares made by four rods, stepped through both ways; seen from above."""

from typing import Final

from app.practice.body import AWAY, Point, flat
from app.practice.chance import Track, land
from app.practice.showing import Showing

#: The order of a frame's points seen from above.
POINTS_ABOVE: Final = (
    "head", "shoulder_r", "shoulder_l", "heel_r", "toe_r", "heel_l", "toe_l",
    "hand_r", "hand_l", "aid_top", "aid_foot", "help", "nose",
)  # fmt: skip
SQUARES: Final[dict[int, Point]] = {
    1: (-38, -38),
    2: (-38, 38),
    3: (38, 38),
    4: (38, -38),
}
PATH: Final = (2, 3, 4, 1, 4, 3, 2, 1)
#: Where the same way round is taken again instead of going back.
WRONG_PATH: Final = (2, 3, 4, 1, 2, 3, 4, 1)
APART: Final = 13.0
FOOT_LONG: Final = 27.0
SIDES: Final = ("right", "left")


class _Foot:
    """Where one foot's middle is, over time."""

    def __init__(self, at: Point) -> None:
        self.x, self.y = Track(at[0]), Track(at[1])

    def step(self, begins: int, lands: int, to: Point) -> None:
        """From the floor to the floor."""
        self.x.over(begins, lands, to[0], land)
        self.y.over(begins, lands, to[1], land)

    def at(self, ms: float) -> Point:
        """Its middle at an instant."""
        return (self.x.at(ms), self.y.at(ms))


def place(square: int, side: int) -> Point:
    """Where a foot stands in a square; side 0 right, 1 left."""
    x, y = SQUARES[square]
    return (x + (APART if side == 0 else -APART), y)


class _Squares:
    """The feet on their way, and what went wrong."""

    def __init__(self, show: Showing) -> None:
        self.show = show
        self.feet = (_Foot(place(1, 0)), _Foot(place(1, 1)))
        self.hand = Track(0.0)
        self.now = 0
        self.here = 1
        self.device = show.facts.get("device", "none")

    def move(self, number: int, to: int) -> None:
        """Both feet into a square: the one on that side leads, the other follows."""
        show = self.show
        right = SQUARES[to][0] > SQUARES[self.here][0]
        left = SQUARES[to][0] < SQUARES[self.here][0]
        lead = 0 if right else 1 if left else number % 2
        lone = show.at("one_foot_only", number)
        for order, side in enumerate((lead, 1 - lead)):
            if lone and order == 1:
                show.wrong("one_foot_only", self.now, f"square {to}")
                show.say(
                    self.now, f"The {SIDES[side]} foot has not come to square {to}."
                )
                continue
            self._step(number, to, side, first=order == 0)
        show.splits.append(self.now)
        if show.at("help_given", number):
            self.now += 900
        self.here = to

    def _step(self, number: int, to: int, side: int, *, first: bool) -> None:
        show = self.show
        begins = self.now + (show.ms("between") if not first else show.ms("pause"))
        lands = begins + show.ms("step")
        goal = place(to, side)
        if first and show.at("touches_strip", number):
            self.feet[side].step(begins, lands, self._on_rod(goal, side))
            show.wrong("touches_strip", lands, f"{SIDES[side]} foot, into square {to}")
            show.say(lands, f"The {SIDES[side]} foot comes down on the rod.")
            begins, lands = lands + 380, lands + 760
        self.feet[side].step(begins, lands, goal)
        if number == 1 and first:
            show.start_ms = lands
            show.say(lands, "The first foot is down in square 2.")
        elif not first:
            if show.at("help_given", number):
                self._help(lands - 150)
            show.say(lands, f"Both feet in square {to}.")
        self.now = lands

    def _on_rod(self, goal: Point, side: int) -> Point:
        """On the rod that lies between here and there."""
        here = place(self.here, side)
        crossing_x = abs(goal[0] - here[0]) > abs(goal[1] - here[1])
        return (0.0, goal[1]) if crossing_x else (goal[0], 0.0)

    def _help(self, at: int) -> None:
        self.hand.over(at - 250, at, 1.0).over(at + 1000, at + 1300, 0.0)
        self.show.wrong("help_given", at, "at the belt")
        self.show.say(at, "Sways; the therapist's hand takes the belt.")

    def points(self, ms: float) -> tuple[int, ...]:
        """The figure from above at an instant, facing up the page."""
        right, left = self.feet[0].at(ms), self.feet[1].at(ms)
        x, y = (right[0] + left[0]) / 2, (right[1] + left[1]) / 2 - 2
        apart = (right[1] - left[1]) * 0.06
        half = FOOT_LONG / 2
        hands = [(x + 25, y + 15), (x - 25, y + 15)]
        aid = [AWAY, AWAY]
        if self.device == "cane":
            aid = [hands[0], (right[0] + 19, (right[1] + left[1]) / 2 + 16)]
        held = self.hand.at(ms)
        help_at = (x - 4, y - 16 - 70 * (1 - held)) if held > 0.02 else AWAY
        return flat([
            (x, y + 4), (x + 19, y + apart), (x - 19, y - apart),
            (right[0], right[1] - half), (right[0], right[1] + half),
            (left[0], left[1] - half), (left[0], left[1] + half),
            *hands, *aid, help_at, (x, y + 18),
        ])  # fmt: skip


def four_squares(show: Showing) -> None:
    """The clock runs from the first foot in square 2 to the last one back in 1."""
    show.scene |= {"view": "squares", "device": show.facts.get("device", "none")}
    trial = _Squares(show)
    trial.now = show.cue(
        "Seen from above. Stands in square 1, facing square 2; square 3 is ahead to "
        "the right, 4 to the right."
    ) + show.ms("react")  # fmt: skip
    astray = show.planned("wrong_order")
    for number, square in enumerate(WRONG_PATH if astray else PATH, 1):
        trial.move(number, square)
        if astray and number == len(PATH) // 2 + 1:
            show.wrong("wrong_order", show.splits[-1], "ahead again instead of right")
    show.stop_ms = show.splits[-1]
    show.ends_ms = show.stop_ms + 1800
    show.points = trial.points
