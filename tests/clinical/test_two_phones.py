"""Which press counts when two phones work one stopwatch."""

import pytest

from app.clinical.two_clocks import Exchange, Stamp
from app.clinical.two_phones import Press, pressed_words, standing

#: kind and side in short, as `start/h`: what was told, in order; where it leads.
ROWS = [
    ("nothing", [], "idle", ""),
    ("helper starts", ["a start h"], "running", ""),
    ("owner starts", ["a start o"], "running", ""),
    ("helper starts and stops", ["a start h", "a stop h"], "stopped", ""),
    ("second stop is late", ["a start o", "a stop o", "a stop h"], "stopped", "stop"),
    ("owner's echo is no press", ["a start h", "a start o"], "running", ""),
    ("helper's start while it runs", ["a start o", "b start h"], "running", "start"),
    ("helper's stop of nothing", ["a stop h"], "idle", "stop"),
    ("stop for safety of nothing", ["a safe h"], "stopped", ""),
    ("safety after a stop", ["a start o", "a stop o", "a safe h"], "stopped", ""),
    ("helper clears nothing", ["a start o", "a clear h"], "running", ""),
    ("ready again", ["a start o", "a stop o", "a clear o"], "idle", ""),
    ("helper before it is ready", ["a start o", "a stop o", "b start h"],
     "stopped", "start"),
    ("undo: the owner goes on", ["a start h", "a stop h", "b start o"], "running", ""),
]  # fmt: skip


def _press(said: str, at: float = 0.0) -> Press:
    trial, kind, side = said.split()
    side = {"o": "owner", "h": "helper"}[side]
    stamp = Stamp(side, 0, at, Exchange(at, at, at, at))
    return Press(trial, kind, side, 1 if side == "owner" else 2, stamp)


@pytest.mark.parametrize(
    ("said", "phase", "late"), [r[1:] for r in ROWS], ids=[r[0] for r in ROWS]
)
def test_where_presses_lead(said: list[str], phase: str, late: str) -> None:
    now = standing(_press(words, 10_000.0 * i) for i, words in enumerate(said))

    assert now.phase == phase
    assert (now.late.kind if now.late else "") == late


@pytest.mark.parametrize(
    ("after_ms", "trial"), [(-1, "b"), (0, "a"), (3_000, "a"), (3_001, "b")]
)
def test_two_starts_close_together_are_one(after_ms: float, trial: str) -> None:
    """An owner who starts a moment later, not yet knowing, meant the same start."""
    now = standing([_press("a start h", 5_000), _press("b start o", 5_000 + after_ms)])

    assert now.trial == trial


def test_owner_who_knew_of_the_start_begins_another() -> None:
    told = ["a start h", "a start o", "b start o"]

    assert standing(_press(words) for words in told).trial == "b"


def test_owner_has_to_answer_each_press_of_the_helper() -> None:
    told = [_press(w) for w in ("a start h", "a start o", "a stop h", "a stop o")]

    waits = [standing(told[:n]).waits_for_owner for n in range(5)]

    assert waits == [False, True, False, True, False]


def test_saved_trial_makes_way_for_the_next() -> None:
    """The helper's phone saved it, and the owner's is away."""
    told = [_press(w) for w in ("a start h", "a stop h", "b start h")]

    assert standing(told).trial == "a"
    assert standing(told, stored={"a"}).trial == "b"


@pytest.mark.parametrize(
    ("pressed", "bound", "words"),
    [
        (("helper", "helper"), 0, "start and stop by helper's phone: one clock"),
        (("helper", "owner"), 20.0,
         "start by helper's phone, stop by owner's phone, +/- 0.02 s"),
        (("owner", "helper"), 20.1,
         "start by owner's phone, stop by helper's phone, +/- 0.03 s"),
        (("helper", "helper"), None,
         "start and stop by helper's phone, clocks not compared"),
    ],
)  # fmt: skip
def test_words_beside_the_time(
    pressed: tuple[str, str], bound: float | None, words: str
) -> None:
    """The bound is rounded up: it is never said smaller than it is."""
    pairs = dict(zip(("start", "stop"), pressed, strict=True))

    assert pressed_words(pairs, bound) == words
