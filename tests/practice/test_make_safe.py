"""When a simulated trial asks for "Stop - make safe", and what is said of a press."""

from itertools import product

import pytest

from app.practice.body import POINTS
from app.practice.case import Fault, Key
from app.practice.make_safe import HAND_SEEN_MS, held_to, press_of, safe_from
from app.practice.planning import planned
from app.practice.showing import BETWEEN_LINES_MS
from app.practice.stepping import POINTS_ABOVE
from app.practice.timeline import APART, key_of, make
from app.web.practice_book import book


def test_only_a_hand_laid_on_asks_for_it() -> None:
    arms, helped = Fault("arms_used", 3_000), Fault("help_given", 5_000)
    again = Fault("help_given", 7_000)

    assert safe_from(Key(0, 9_000)) is None
    assert safe_from(Key(0, 9_000, faults=(arms,))) is None
    assert safe_from(Key(0, 9_000, faults=(arms, again, helped))) == 5_000


@pytest.mark.parametrize(
    ("pressed", "at", "due", "standing"),
    [
        (False, None, None, None),
        (False, None, 5_000, "missed"),
        (True, 4_749, 5_000, "too_early"),
        (True, -400, 5_000, "too_early"),  # before the figure moves
        (True, 4_750, 5_000, "early"),
        (True, 4_999, 5_000, "early"),
        (True, 5_000, 5_000, "right"),
        (True, 6_200, 5_000, "right"),
        (True, 10_000, 5_000, "right"),
        (True, 10_001, 5_000, "late"),
        (True, None, 5_000, "right"),  # read in words
        (True, 6_200, None, "not_asked"),
        (True, None, None, "not_asked"),
    ],
)
def test_a_press_beside_the_key(
    pressed: bool, at: int | None, due: int | None, standing: str | None
) -> None:
    found = press_of(pressed, at, due, "1.20 s")

    assert (found.standing if found else None) == standing
    if found and at is not None and due is not None:
        assert "1.20 s" in found.words


def test_a_hand_is_said_as_it_is_laid_on() -> None:
    """Who presses by ear is as late as who sees it, and never before."""
    heard = 0
    for case in book().cases.values():
        for plan in case.trials:
            for seed in range(24):
                due = safe_from(key_of(case, plan.number, seed))
                if due is None:
                    continue
                timeline = make(case, plan.number, seed)
                hands = [w for w in timeline.words if "therapist's hand" in w.text]
                assert len(hands) == 1
                assert 0 <= hands[0].at_ms - due < BETWEEN_LINES_MS, (
                    case.id,
                    plan.number,
                    seed,
                )
                heard += 1
    assert heard >= 20


def test_nothing_of_a_hand_is_to_be_seen_sooner() -> None:
    """It is away until `HAND_SEEN_MS` before its instant, and then comes."""
    drawn = 0
    for case in book().cases.values():
        names = POINTS_ABOVE if case.measure == "four_square_step" else POINTS
        hand = slice(2 * names.index("help"), 2 * names.index("help") + 2)
        for trial, seed in product([plan.number for plan in case.trials], range(12)):
            due = safe_from(key_of(case, trial, seed))
            if due is None:
                continue
            frames = make(case, trial, seed).frames
            away = frames[0].points[hand]
            seen = next(f.at_ms for f in frames if f.points[hand] != away)
            before = due - seen
            assert HAND_SEEN_MS - 2 * APART[1] < before < HAND_SEEN_MS, (case.id, seed)
            drawn += 1
    assert drawn >= 10


def test_every_planned_hand_has_its_instant() -> None:
    """The key asks exactly where the seed has drawn it, within the trial."""
    asked = 0
    for case in book().cases.values():
        for plan in case.trials:
            for seed in range(12):
                drawn = {one.kind for one in planned(case, plan.number, seed)}
                key = key_of(case, plan.number, seed)
                due = safe_from(key)
                assert (due is not None) == ("help_given" in drawn), (case.id, seed)
                assert due is None or 0 < due < key.stop_ms
                asked += due is not None
    assert asked >= 10


KEY = Key(
    1_000, 9_000, valid=False,
    faults=(Fault("arms_used", 2_000), Fault("help_given", 5_000),
            Fault("not_upright", 7_000)),
)  # fmt: skip


@pytest.mark.parametrize(
    ("at_ms", "said", "held"),
    [
        (1_500, (), ()),
        (2_000, (), ("arms_used",)),
        (4_800, ("help_given",), ("arms_used", "help_given")),
        (5_300, (), ("arms_used", "help_given")),
        (None, (), ("arms_used", "help_given", "not_upright")),
    ],
)
def test_who_stops_is_held_to_what_had_begun(
    at_ms: int | None, said: tuple[str, ...], held: tuple[str, ...]
) -> None:
    found = held_to(KEY, at_ms, said)

    assert tuple(fault.kind for fault in found.faults) == held
    assert held_to(Key(1_000, 9_000), at_ms, said).valid is False
