"""When a simulated trial asks for "Stop - make safe", and what is said of a press."""

import pytest

from app.practice.case import Fault, Key
from app.practice.make_safe import press_of, safe_from
from app.practice.planning import planned
from app.practice.timeline import key_of
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
        (True, 4_999, 5_000, "early"),
        (True, 5_000, 5_000, "right"),
        (True, 6_200, 5_000, "right"),
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
