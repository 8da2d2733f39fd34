"""What somebody is asked to practise: their list, and team checks that are open."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.storage.competence import list_of
from app.storage.people import Person
from app.storage.practice import PracticeAttempt, PracticeShowing
from app.storage.team_check_rows import TeamCheck
from app.storage.team_checks import checks_of, sent_in, shown_in
from app.web.practice_book import book
from app.web.standing_view import name_of_test

#: A person's own attempts with what was shown, newest first.
Pairs = Sequence[tuple[PracticeAttempt, PracticeShowing]]


@dataclass(frozen=True, slots=True)
class Asked:
    """A test on somebody's practice list, how far they are, and what to do next.

    `done` counts trials with a result: one that was stopped to make safe has none.
    """

    measure: str
    name: str
    asked: int
    done: int
    href: str

    @property
    def open(self) -> int:
        return max(0, self.asked - self.done)


@dataclass(frozen=True, slots=True)
class Member:
    """How far somebody is with a team check. `left`: begun and not answered.

    `stopped`: sent, but stopped to make safe, so that there is no result to compare.
    """

    name: str
    done: int
    of: int
    left: int
    stopped: int = 0


@dataclass(frozen=True, slots=True)
class Check:
    """A team check as one of its people has it; `place` is the next trial, from 1."""

    id: int
    name: str
    place: int
    member: Member


def asked_of(
    session: Session, person: Person, shelf: Catalogue, pairs: Pairs
) -> list[Asked]:
    """The newest list, counted from when it was set; what is open stands first."""
    row = list_of(session, person)
    if row is None:
        return []
    since = Counter(
        shown.measure
        for sent, shown in pairs
        if sent.sent_at >= row.set_at and not sent.made_safe
    )
    asked = [
        Asked(
            measure, name_of_test(shelf, measure), many, since[measure],
            next_trial(measure, pairs),
        )
        for measure, many in row.trials.items()
    ]  # fmt: skip
    return sorted(asked, key=lambda one: (not one.open, one.name))


def next_trial(measure: str, pairs: Pairs) -> str:
    """Where to go on: the easiest trial of those that were done least often."""
    done = Counter((shown.case_id, shown.trial) for _, shown in pairs)
    trials = [
        (done[case.id, plan.number], case.level, case.id, plan.number)
        for case in book().cases.values()
        if case.measure == measure
        for plan in case.trials
    ]
    if not trials:  # the cases were changed since it was asked for
        return "/practice"
    _, _, case_id, number = min(trials)
    return f"/practice/{case_id}/{number}"


def open_checks(session: Session, person: Person, shelf: Catalogue) -> list[Check]:
    """Those that have a trial left to be shown, under today's edition of the key."""
    return [
        check
        for row in checks_of(session, person)
        if row.edition == book().edition
        and (check := check_of(session, row, person, shelf)).place
    ]


def check_of(
    session: Session, row: TeamCheck, person: Person, shelf: Catalogue
) -> Check:
    """`place` is 0 when everything was shown."""
    shown = shown_in(session, row, person)
    places = range(1, len(row.trials) + 1)
    return Check(
        row.id, name_of_test(shelf, row.measure),
        next((place for place in places if place not in shown), 0),
        member_of(session, row, person),
    )  # fmt: skip


def member_of(session: Session, row: TeamCheck, person: Person) -> Member:
    """A trial is seen once: one that was begun and left is not shown again."""
    done = sent_in(session, row).get(person.id, 0)
    left = len(shown_in(session, row, person)) - done
    stopped = sent_in(session, row, stopped=True).get(person.id, 0)
    return Member(person.name, done, len(row.trials), left, stopped)
