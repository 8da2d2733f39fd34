"""The simulated cases and one showing of a trial, for the pages of practice.

Read once for the program: the cases ship with it.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from app.practice.case import Case, Timeline
from app.practice.cases import edition_of, read_cases
from app.practice.timeline import make
from app.resources import folder
from app.storage.errors import NotFound
from app.storage.practice import PracticeShowing


@dataclass(frozen=True, slots=True)
class Book:
    """All cases by id, and the edition of their key."""

    cases: Mapping[str, Case]
    edition: str

    def case(self, case_id: str, trial: int) -> Case:
        """The case, if it has that trial.

        Raises:
            NotFound: there is no such trial.
        """
        case = self.cases.get(case_id)
        if case is None or all(plan.number != trial for plan in case.trials):
            raise NotFound
        return case


@cache
def book() -> Book:
    """The cases as they are in this copy of the program."""
    cases = folder("demo_data") / "practice"
    return Book(read_cases(cases), edition_of(cases))


def timeline_of(showing: PracticeShowing) -> Timeline:
    """What was shown, key and all. Only for showings of the present edition."""
    case = book().case(showing.case_id, showing.trial)
    return make(case, showing.trial, showing.seed)


def scene_of(timeline: Timeline) -> Mapping[str, str]:
    """What stands in the picture; what a scene has not is empty to its template."""
    return defaultdict(str, timeline.scene)
