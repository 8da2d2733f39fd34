"""Parts of a timed walk there and back, from the moments marked while it ran."""

from datetime import date
from decimal import Decimal

import pytest

from app.catalogue.load import catalogue
from app.clinical.deficit import Evidence, Origin, Scored
from app.clinical.deficits import findings
from app.clinical.person import Person
from app.clinical.reading import Result, read
from app.clinical.scores import Score, Trial
from app.clinical.scoring import score
from app.clinical.setup import read_facts

TUG = catalogue().measures["timed_up_and_go"]


def walked(*moments: str, seconds: str = "14.0") -> Trial:
    return Trial(value=Decimal(seconds), unit="s", splits=tuple(map(Decimal, moments)))


def scored(*trials: Trial, variant: str = "single") -> Score:
    return score(TUG, trials, variant=variant, facts=read_facts(TUG, {}))


def test_parts_lie_between_the_marks() -> None:
    parts = scored(walked("1.5", "4.5", "8.2", "12.0")).parts

    shown = {name: float(part.value) for name, part in parts.items()}
    assert shown == {
        "phase_sit_to_stand": 1.5,
        "phase_walk_out": 3.0,
        "phase_turn_180": pytest.approx(3.7),
        "phase_walk_both_ways": pytest.approx(3.0 + 3.8),
    }


@pytest.mark.parametrize("marks", [(), ("1.5",), ("1.5", "4.5", "8.2", "12.0", "13.0")])
def test_a_missed_or_extra_mark_gives_no_part(marks: tuple[str, ...]) -> None:
    assert not scored(walked(*marks)).parts


@pytest.mark.parametrize(
    ("turned", "crossed"), [("8.1", False), ("8.2", True), ("8.3", True)]
)
def test_turn_is_read_against_its_own_limit(turned: str, crossed: bool) -> None:
    """dite2007 (abstract): 3.7 s or more in the turn, below-knee amputation."""
    result = amputee(scored(walked("1.5", "4.5", turned, "12.0")))

    (found,) = [r for r in result.readings if r.row and r.row.source == "dite2007"
                and r.row.fit.quantity == "phase_turn_180"]  # fmt: skip
    assert found.matched
    assert found.crossed is crossed


def amputee(made: Score) -> Result:
    """Somebody in the first months after losing a leg below the knee."""
    about = {"time_since": "first_months", "amputation_level": "below_knee"}
    person = Person((60,), "male", ("amputation",), "community", about)
    return read(TUG, made, person)


def test_a_slow_turn_asks_for_turning_work() -> None:
    scores = [scored(walked("1.5", "4.5", turned, "12.0")) for turned in ("8.1", "8.2")]

    asked = [deficits_of(amputee(made)) for made in scores]
    assert "turn_unsteady" not in asked[0]
    assert "turn_unsteady" in asked[1]


def deficits_of(result: Result) -> set[str]:
    origin = Origin(("round", "1"), date(2026, 11, 25), "25 Nov")
    found = findings(catalogue().deficits, Evidence(tests=(Scored(result, origin),)))
    return {finding.deficit for finding in found}
