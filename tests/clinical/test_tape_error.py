"""A tape that is off: said beside the reading, and near a limit it widens the doubt."""

import pytest

from app.clinical.setup import BadFact
from tests.clinical.reading_for import result


def test_what_a_right_tape_would_have_given_is_said() -> None:
    """A tape whose ten feet are 126 in is 5 % too long: 10 in by it are 10.5 in."""
    found = result("functional_reach", "10in", age=75, tape_true="126")

    said = [c for c in found.cautions if c.startswith("The tape was off")]
    assert said
    assert "10.5 in" in said[0]
    assert str(found.score.shown) == "10.0"


def test_a_right_tape_says_nothing() -> None:
    found = result("functional_reach", "10in", age=75, tape_true="120")

    assert not [c for c in found.cautions if c.startswith("The tape was off")]


def test_a_score_that_the_tape_could_carry_over_a_limit_is_near_its_edge() -> None:
    """10.4 in lies clear of 10 in by hand, not by a tape 5 % off."""
    right = result("functional_reach", "10.4in", age=75)
    off = result("functional_reach", "10.4in", age=75, tape_true="114")

    near = [sum(r.near_edge for r in found.readings) for found in (right, off)]
    assert near[1] > near[0]


@pytest.mark.parametrize("said", ["100", "140"])
def test_ten_feet_that_cannot_be_are_refused(said: str) -> None:
    with pytest.raises(BadFact, match="not ten feet"):
        result("functional_reach", "10in", tape_true=said)
