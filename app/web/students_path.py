"""What comes next for a student, gathered from the record for the top of their list."""

from collections.abc import Collection
from datetime import date

from sqlmodel import Session

from app.access import STUDENT
from app.catalogue.load import Catalogue
from app.practice.competence import sign_off_state, standing
from app.practice.students_path import Facts, Next, PractisedTest, VisitNow, next_step
from app.storage.competence import list_of, sign_offs_of
from app.storage.own_visits import assigned_to, own_visits
from app.storage.people import Person
from app.storage.practice import rows_of
from app.storage.practice_beside import attempts_in
from app.web.practice_asked import next_trial
from app.web.practised import key_edition, practised_tests, unit_of
from app.web.standing_view import rule_of

#: The test that whom nobody gave a list begins with: the shortest to watch.
BEGIN_WITH = "single_leg_stance"


def path_of(
    session: Session, me: Person, shelf: Catalogue, seen: Collection[int], today: date
) -> Next | None:
    """`seen`: numbers of the patients they may see. Only students are led."""
    if me.role != STUDENT:
        return None
    visits = tuple(
        VisitNow(visit.id, label, stage, comments)
        for visit, number, label, stage, comments in own_visits(session, me)
        if number in seen and (stage != "open" or visit.local_date == today)
    )
    first = next((p for p in assigned_to(session, me) if p[0] in seen), None)
    return next_step(Facts(_tests(session, me, shelf, today), visits, first))


def _tests(
    session: Session, me: Person, shelf: Catalogue, today: date
) -> tuple[PractisedTest, ...]:
    """Those on the list, those practised, else the one to begin with."""
    pairs, edition = rows_of(session, me), key_edition()
    judged, asked = practised_tests(shelf), list_of(session, me)
    wanted = [m for m in (asked.trials if asked else {}) if m in judged]
    wanted += [
        shown.measure for _, shown in pairs
        if shown.measure in judged and shown.edition == edition
    ]  # fmt: skip
    signed = {
        row.measure
        for row, ended in sign_offs_of(session, me)
        if sign_off_state(row.edition, edition, row.until, ended is not None, today)
        == "holds"
    }
    names = dict.fromkeys([*wanted, *sorted(signed & set(judged))] or [BEGIN_WITH])
    attempts = attempts_in(pairs)
    shared = [attempt for attempt in attempts if attempt.shared]
    made = []
    for measure in names:
        rule = rule_of(session, me, measure, edition, unit_of(shelf, measure))
        made.append(PractisedTest(
            measure, shelf.measures[measure].name,
            standing(attempts, measure, edition, rule),
            standing(shared, measure, edition, rule),
            measure in signed, next_trial(measure, pairs),
        ))  # fmt: skip
    return tuple(made)
