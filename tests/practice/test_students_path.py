"""What comes next for a student, stage by stage, and that a step is never skipped."""

import pytest

from app.practice.attempt import Attempt
from app.practice.competence import standing
from app.practice.students_path import Facts, PractisedTest, VisitNow, next_step
from tests.practice.attempts import EDITION, MEASURE, good, run

SHARED = good()
OWN = [Attempt(**a.__dict__ | {"shared": False}) for a in SHARED]
FIRST = (7, "Lilac Vole")


def standing_at(attempts: list[Attempt], *, signed: bool = False) -> PractisedTest:
    shared = [a for a in attempts if a.shared]
    return PractisedTest(
        MEASURE, "Timed Up and Go", standing(attempts, MEASURE, EDITION),
        standing(shared, MEASURE, EDITION), signed, "/practice/older/1",
    )  # fmt: skip


def visit(stage: str, comments: int = 0) -> VisitNow:
    return VisitNow(3, "Lilac Vole", stage, comments)


@pytest.mark.parametrize(
    ("attempts", "signed", "visits", "stage", "says", "href"),
    [
        ([], False, [], "practise", "Begin with practice", "/practice/older/1"),
        (run([0] * 5), False, [], "practise", "5 trials", "/practice/older/1"),
        (run([900] * 20), False, [], "practise", "Not reached yet: average difference",
         "/practice/older/1"),
        (OWN, False, [], "share", "Share them", f"/practice/progress#{MEASURE}"),
        (SHARED, False, [], "visit", "Lilac Vole is assigned", "/patients/7"),
        (SHARED, False, ["open"], "open", "under way", "/visits/3"),
        (SHARED, False, ["unwritten"], "unwritten", "is not handed in",
         "/visits/3/notes/visit"),
        (SHARED, False, ["waits"], "waits", "waits for a supervisor", "/practice"),
        (SHARED, False, ["returned"], "returned", "came back with 1 comment.",
         "/visits/3/notes/visit"),
        ([], False, ["returned"], "returned", "came back", "/visits/3/notes/visit"),
        (SHARED, False, ["signed"], "sign-off", "A supervisor can sign",
         f"/practice/progress#{MEASURE}"),
        (SHARED, True, ["signed"], "signed", "signed off on", "/practice"),
        (SHARED, True, ["waits"], "waits", "Meanwhile", "/practice"),
    ],
)  # fmt: skip
def test_stage(
    attempts: list[Attempt], signed: bool, visits: list[str], stage: str, says: str,
    href: str,
) -> None:  # fmt: skip
    """One line and one button; what a person waits for stands first."""
    made = tuple(visit(one, comments=int(one == "returned")) for one in visits)
    found = next_step(Facts((standing_at(attempts, signed=signed),), made, FIRST))

    assert found is not None
    assert (found.stage, found.href) == (stage, href)
    assert says in found.says
    assert found.button


def test_the_test_nearest_to_a_sign_off_leads() -> None:
    begun, ready = standing_at(run([0] * 5)), standing_at(OWN)
    found = next_step(Facts((begun, ready), (), FIRST))

    assert found is not None
    assert found.stage == "share"


def test_nothing_to_do_says_nothing() -> None:
    assert next_step(Facts((), (), None)) is None
