"""Up from a chair, a short walk to a line, round, back, and down again."""

from typing import Final

from app.practice.body import ANKLE, Point, Pose, neck_of, points_of
from app.practice.chance import Track, land
from app.practice.gait import OTHER_COURSE, TOES
from app.practice.rising import BACK_MS, FEET_AT, ON_SEAT, raised
from app.practice.showing import HEAD_START, Showing, length_cm
from app.practice.walking import Walk, quiver, stride, with_device

#: How far past the line the body goes before it turns; short of it where that fails.
PAST: Final = 24.0
SHORT: Final = -45.0
#: How far from the chair somebody sits down who sits too early.
TOO_FAR: Final = 20.0


class _UpAndGo:
    """The tracks of one such trial."""

    def __init__(self, show: Showing) -> None:
        self.show = show
        self.seat_cm = length_cm(show.facts["seat_height"])
        self.device = show.facts.get("device", "none")
        self.up, self.turn = Track(0.0), Track(1.0)
        self.aside, self.hand = Track(0.0), Track(0.0)
        course = OTHER_COURSE if show.planned("wrong_course") else "10 ft"
        self.line = length_cm(course)
        show.scene |= {
            "view": "lane_chair", "course": course, "line_cm": f"{self.line:.0f}",
            "seat": show.facts["seat_height"], "seat_cm": f"{self.seat_cm:.0f}",
            "device": self.device,
        }  # fmt: skip
        past = SHORT if show.planned("short_of_line") else PAST
        length = self.line + past - FEET_AT
        step, speed = show.ms("step"), show.ms("speed")
        self.out, self.back = Walk(length, step, speed), Walk(length, step, speed)

    def lay(self, begins: int) -> None:
        """Everything from the first lean to the seat, with the marks on the way."""
        show = self.show
        up = begins + show.ms("rise")
        self.up.over(begins, up, 1.0)
        there = self.out.lay(up + show.ms("settle"), {})
        freeze = show.ms("freeze")
        turned = there + freeze + show.ms("turn")
        self.turn.over(there + freeze, turned, -1.0)
        at_chair = self.back.lay(turned + 60, {})
        round_again = at_chair + show.ms("turn")
        seated = self._sit(at_chair, round_again)
        line = self.out.reached(self.line - FEET_AT - TOES)
        line = there if show.planned("short_of_line") else line
        show.splits = [up, line, turned, at_chair]
        show.stop_ms, show.ends_ms = seated, seated + 1800
        self._say(begins, freeze)

    def _sit(self, at_chair: int, round_again: int) -> int:
        """Turn and sit; too early, the hips go down half turned and far from it."""
        show = self.show
        if show.planned("sits_early"):
            self.aside.hold(0)
            down = at_chair + (round_again - at_chair) * 4 // 10
            seated = down + show.ms("lower") * 7 // 10
            self.turn.over(at_chair, seated - 100, 1.0)
            self._down(down, seated)
            self.aside.over(down, seated, -TOO_FAR)
            show.wrong("sits_early", down, "half turned, a step from the chair")
            return seated
        self.turn.over(at_chair, round_again, 1.0)
        seated = round_again + show.ms("lower")
        self._down(round_again, seated)
        return seated

    def _down(self, begins: int, seated: int) -> None:
        """The hips meet the seat at `seated`, then the trunk comes back."""
        self.up.over(begins, seated, ON_SEAT, land)
        self.up.to(seated + BACK_MS, 0.0)

    def _say(self, begins: int, freeze: int) -> None:
        show = self.show
        up, line, turned, at_chair = show.splits
        there = self.out.ends_ms
        if not show.planned("early_start"):
            show.say(begins, "Hands on the armrests; rises.")
        show.say(up, "Standing.")
        show.say(self.out.begins_ms, "Walks.")
        if show.planned("short_of_line"):
            show.wrong("short_of_line", there, "the feet are short of the line")
            show.say(there, "Stands; the feet are short of the line. Turns.")
        else:
            show.say(line, "Both feet come to the line and pass it.")
            show.say(there, "The feet stick, the heels quiver." if freeze else "Turns.")
        show.say(turned, "Faces the chair, walks back.")
        self._help()
        show.say(at_chair, "At the chair; turns.")
        if show.planned("sits_early"):
            down = show.faults[-1].at_ms
            show.say(down, "Half turned and a step away, the hips already go down.")
        show.say(show.stop_ms, "On the seat.")

    def _help(self) -> None:
        show = self.show
        if not show.planned("help_given"):
            return
        at = self.back.reached(self.back.length * show.share("help_given"))
        self.hand.over(at - 250, at, 1.0).over(at + 1200, at + 1500, 0.0)
        show.wrong("help_given", at, "at the belt, on the way back")
        show.say(at, "Sways; the therapist's hand takes the belt and holds.")

    def points(self, ms: float) -> tuple[int, ...]:
        """The figure at an instant."""
        pose = Pose(x=FEET_AT, turn=self.turn.at(ms))
        condition = self.show.case.condition
        if ms < self.out.begins_ms or ms > self.back.ends_ms:
            pose.x += 0 if ms < self.out.begins_ms else self._home()
            self._chair(pose, ms)
        elif ms <= self.out.ends_ms:
            pose.x += self.out.body(ms)
            stride(pose, self.out, ms, condition, self.device)
        else:
            pose.x += self.out.length - self.back.body(ms)
            stride(pose, self.back, ms, condition, self.device)
        self._on_the_spot(pose, ms)
        held = self.hand.at(ms)
        if held > 0.02:
            pose.help = (-14 - 60 * (1 - held), pose.hip[1] + 6)
        return points_of(pose)

    def _home(self) -> float:
        return TOO_FAR if self.show.planned("sits_early") else 0.0

    def _on_the_spot(self, pose: Pose, ms: float) -> None:
        """Small steps in a turn; quivering heels where the feet will not go."""
        there = self.out.ends_ms
        if there < ms < self.back.begins_ms:
            quiver(pose, [(there, self._thaws())], ms)
        if abs(pose.turn) < 0.99:
            beat = ms % 700 / 700
            near, far = (beat, 0.0) if beat < 0.5 else (0.0, beat - 0.5)
            lifts = tuple(ANKLE + 90 * b * (0.5 - b) for b in (near, far))
            (rx, ry), (lx, ly) = pose.feet
            pose.feet = ((rx, max(ry, lifts[0])), (lx, max(ly, lifts[1])))

    def _thaws(self) -> int:
        """When a freeze at the turn is over: when the turn begins."""
        ms = self.out.ends_ms
        while self.turn.at(ms + 20) >= 1.0 and ms < self.back.begins_ms:
            ms += 20
        return ms

    def _chair(self, pose: Pose, ms: float) -> None:
        up = self.up.at(ms)
        pose.hip, pose.lean = raised(up, self.seat_cm)
        pose.hip = (pose.hip[0] + self.aside.at(ms), pose.hip[1])
        hand = _armrest(pose.hip, pose.lean, up)
        pose.hands = (hand, hand)
        if self.device != "none" and up > 0.85:
            with_device(pose, self.device, 0.0)


def _armrest(hip: Point, lean: float, up: float) -> Point:
    """A hand on the armrest while low, hanging when up; from the shoulder."""
    neck = neck_of(hip, lean)
    rest = (-14.0 - neck[0], 64.0 - neck[1])
    share = min(max((up - 0.55) / 0.3, 0.0), 1.0)
    return (rest[0] + (4 - rest[0]) * share, rest[1] + (-54 - rest[1]) * share)


def up_and_go(show: Showing) -> None:
    """The clock runs from "go" until the person is seated again."""
    trial = _UpAndGo(show)
    go = show.cue(
        f"Sits back in an armchair, hands on the armrests. The tape at the seat reads "
        f"{show.scene['seat']}, the tape along the floor {show.scene['course']} at the "
        "line."
    )
    show.start_ms = go
    for kind, said in (("seat_high", "seat"), ("wrong_course", "course")):
        if show.planned(kind):
            show.wrong(kind, 0, show.scene[said])
    begins = go + show.ms("react")
    if show.planned("early_start"):
        begins = go - show.chance.ms(HEAD_START)
        show.wrong("early_start", begins, "the trunk was already moving")
        go_line = show.lines.pop()
        show.say(begins, "Leans forward and starts to rise.")
        show.lines.append(go_line)
    trial.lay(begins)
    show.points = trial.points
