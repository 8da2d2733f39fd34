"""Which simulated trials are weak and come back more often.

Two things make one weak, and they add up: a result further off than a sign-off lets a
single one be, and what was missed, invented, decided or stopped otherwise than the key
asks. The latest five attempts at a trial count. All weights are ours (common practice).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from app.practice.attempt import Attempt
from app.practice.competence import Rule
from app.practice.make_safe import LATE_MS
from app.practice.scale import two_places

#: How many latest attempts at one trial say how it stands now.
LATEST: Final = 5
#: Weights of the next draw: each trial, one never tried, and the most that each
#: weakness adds.
ALWAYS, NEW, OFF, SEEN = 1.0, 1.0, 2.0, 2.0
#: So many things seen or decided wrongly are as weak as it gets.
MOST_WRONG: Final = 2

#: A practised stop that brings its trial back: else a hard one could be stopped away.
PRESSES: Final = {
    "missed": "a stop was asked for and not pressed",
    "not_asked": "stopped without cause",
    "too_early": "stopped before anything was to be seen",
    "late": f"stopped more than {LATE_MS // 1000} s after a hand was laid on",
}

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Weakness:
    """How weak one attempt was: both from 0 to 1, with the reasons in words."""

    off: float
    seen: float
    why: tuple[str, ...]

    @property
    def any(self) -> bool:
        return self.off > 0 or self.seen > 0


def weakness(attempt: Attempt, rule: Rule) -> Weakness:
    """Of one attempt. Read in words a time says nothing; the rest is judged."""
    off, why = _off(attempt, rule)
    missed = len(attempt.faults_key - attempt.faults_said)
    invented = len(attempt.faults_said - attempt.faults_key)
    other = attempt.valid_said != attempt.valid_key
    why += [f"{missed} missed"] if missed else []
    why += [f"{invented} said that was not there"] if invented else []
    why += ["valid or void decided otherwise than the key"] if other else []
    why += [PRESSES[attempt.press]] if attempt.press in PRESSES else []
    wrong = missed + invented + other + (attempt.press in PRESSES)
    seen = min(wrong / MOST_WRONG, 1.0)
    return Weakness(off, seen, tuple(why))


def _off(attempt: Attempt, rule: Rule) -> tuple[float, list[str]]:
    """0 up to the threshold, a half just beyond it, 1 from twice as far on."""
    beside = attempt.beside(rule.unit)
    if beside is None:
        return 0.0, []
    scale, far = rule.scale, abs(beside.off)
    if two_places(far) <= two_places(rule.most_apart):
        return 0.0, []
    way = scale.more if beside.off > 0 else scale.less
    words = f"{scale.result} {scale.one(far)} {way} than the key"
    return min(far / (2 * rule.most_apart), 1.0), [words]


def weight(latest: Sequence[Weakness]) -> float:
    """How likely a trial is to come next; `latest` are its attempts, oldest first."""
    if not latest:
        return ALWAYS + NEW
    judged = latest[-LATEST:]
    return ALWAYS + sum(OFF * w.off + SEEN * w.seen for w in judged) / len(judged)


def next_trial(weighed: Mapping[T, float], chance: float) -> T:
    """One of them, by its weight; `chance` (0 to below 1) is drawn by the caller."""
    left = chance * sum(weighed.values())
    for trial, size in weighed.items():
        left -= size
        if left < 0:
            return trial
    return trial
