"""What comes next for a student, from practice to the first test signed off. Pure.

One line and one button, worked out anew from the record each time and kept nowhere.
What a person is waiting for stands before what is still to be learned.
"""

from dataclasses import dataclass

from app.practice.competence import Standing


@dataclass(frozen=True, slots=True)
class Next:
    """The stage, one line, and what the one button says and opens."""

    stage: str
    says: str
    button: str
    href: str


@dataclass(frozen=True, slots=True)
class VisitNow:
    """A visit of the student's own, and how far its note is.

    `stage`: `open`, `unwritten`, `waits`, `returned`, `signed`.
    """

    id: int
    who: str
    stage: str
    comments: int = 0


@dataclass(frozen=True, slots=True)
class PractisedTest:
    """A test that is practised: everything tried, and what of it is shared."""

    id: str
    name: str
    own: Standing
    shared: Standing
    signed: bool
    href: str


@dataclass(frozen=True, slots=True)
class Facts:
    """`visits` newest first; `first` whom to visit, their number and label."""

    tests: tuple[PractisedTest, ...]
    visits: tuple[VisitNow, ...]
    first: tuple[int, str] | None


def next_step(facts: Facts) -> Next | None:
    """None where there is nothing to practise and nobody to visit."""
    by_stage = {visit.stage: visit for visit in reversed(facts.visits)}
    for stage in ("returned", "open", "unwritten"):
        if stage in by_stage:
            return _of_visit(by_stage[stage])
    test = _chosen(facts.tests)
    if test and not test.signed and not test.own.reached:
        return _practise(test)
    if test and not test.signed and not test.shared.reached:
        return Next(
            "share",
            f"Your trials of {test.name} reach what is asked. Share them, so that a "
            "supervisor can see it.",
            "Share them", f"/practice/progress#{test.id}",
        )  # fmt: skip
    if not facts.visits and facts.first:
        number, who = facts.first
        return Next(
            "visit", f"Now a whole visit: {who} is assigned to you.",
            f"Open {who}", f"/patients/{number}",
        )  # fmt: skip
    if "waits" in by_stage:
        return _waits(by_stage["waits"])
    return _sign_off(test) if test else None


def _of_visit(visit: VisitNow) -> Next:
    path = f"/visits/{visit.id}"
    if visit.stage == "returned":
        many = f"{visit.comments} comment{'s' if visit.comments != 1 else ''}"
        return Next(
            "returned",
            f"Your note on {visit.who} came back with {many}. Read, then correct it.",
            "Correct the note", f"{path}/notes/visit",
        )  # fmt: skip
    if visit.stage == "open":
        return Next(
            "open", f"Your visit to {visit.who} is under way.", "Go on with it", path
        )
    return Next(
        "unwritten", f"Your visit to {visit.who} is over; its note is not handed in.",
        "Write the note", f"{path}/notes/visit",
    )  # fmt: skip


def _waits(visit: VisitNow) -> Next:
    return Next(
        "waits",
        f"Your note on {visit.who} waits for a supervisor. Meanwhile, practise.",
        "Practise", "/practice",
    )  # fmt: skip


def _chosen(tests: tuple[PractisedTest, ...]) -> PractisedTest | None:
    """One that nearly is signed off before one that is barely begun; then as listed."""
    left = [test for test in tests if not test.signed]
    if not left:
        return tests[0] if tests else None
    return max(left, key=lambda t: (t.shared.reached, t.own.reached, t.own.n))


def _practise(test: PractisedTest) -> Next:
    trials = test.own.checks[0]
    if not test.own.taken:
        says = f"Begin with practice: time simulated people, {test.name} first."
    elif not trials.met:
        says = f"{test.name}: {test.own.n} trials; a sign-off asks {trials.asks}."
    else:
        names = ", ".join(check.name for check in test.own.missing)
        says = f"{test.name}: practise on. Not reached yet: {names}."
    return Next("practise", says, "Next trial", test.href)


def _sign_off(test: PractisedTest) -> Next:
    if test.signed:
        return Next(
            "signed", f"You are signed off on {test.name}. Practise another test.",
            "Practise", "/practice",
        )  # fmt: skip
    return Next(
        "sign-off",
        f"{test.name}: all that is asked is reached and shared. A supervisor can sign.",
        "What they will see", f"/practice/progress#{test.id}",
    )  # fmt: skip
