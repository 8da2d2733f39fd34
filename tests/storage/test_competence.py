"""Rules, sign-offs and lists: only ever added, by supervisors of the same world."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app.practice.competence import DEFAULTS, Rule
from app.storage.audit import AuditEntry
from app.storage.competence import (
    CompetenceRule,
    CompetenceSignOff,
    OwnCompetence,
    PracticeList,
    as_rule,
    carry_rule,
    learner,
    learners,
    list_of,
    rule_before,
    rule_for,
    set_list,
    set_rule,
    sign,
    sign_off_for,
    sign_offs_of,
    withdraw,
)
from app.storage.database import read_session, write_session
from app.storage.errors import NotAllowed, NotFound
from app.storage.people import Person
from app.storage.practice_beside import attempts_of, shared_attempts
from tests.make import NOW, make_person, new_uid
from tests.make_practice import MEASURE, practise_well
from tests.storage.conftest import Ward

ASKED = Rule()


def signed(
    session: Session, by: Person, person: Person, **said: Any
) -> CompetenceSignOff:
    usual: dict[str, Any] = {
        "uid": new_uid(), "measure": MEASURE, "edition": "e1", "words": "",
        "figures": [{"name": "trials", "has": "20"}], "until": date(2027, 3, 2),
    }  # fmt: skip
    return sign(session, by, person, **usual | said, now=NOW)


@pytest.fixture
def given(ward: Ward) -> Ward:
    with write_session(ward.engine) as session:
        set_rule(session, ward.supervisor, MEASURE, "e1", ASKED, NOW)
        row = signed(session, ward.supervisor, ward.student)
        withdraw(session, ward.supervisor, row, "watched together", NOW)
        set_list(session, ward.supervisor, ward.student, {MEASURE: 20}, NOW)
    return ward


@pytest.mark.parametrize(
    "change",
    [
        "competence_rule SET unit = 'm'",
        f"competence_rule SET carried_from = '{'x' * 65}'",
        "competence_rule SET least_trials = 9",
        "competence_rule SET least_trials = 201",
        "competence_rule SET most_bias = 0",
        "competence_rule SET most_apart = 10001",
        "competence_rule SET least_seen = 101",
        "competence_rule SET least_kappa = 0",
        "competence_rule SET measure = ''",
        "competence_rule SET edition = ''",
        "competence_sign_off SET uid = 'abc'",
        "competence_sign_off SET measure = ''",
        "competence_sign_off SET edition = ''",
        f"competence_sign_off SET words = '{'x' * 501}'",
        "competence_sign_off SET person_id = 99999",
        "competence_withdrawal SET reason = ''",
        "competence_withdrawal SET sign_off_id = 99999",
        "practice_list SET person_id = 99999",
    ],
)
def test_database_refuses(given: Ward, change: str) -> None:
    with write_session(given.engine) as session, pytest.raises(IntegrityError):
        session.connection().execute(text(f"UPDATE {change}"))


def test_newest_rule_counts_and_the_old_stays(given: Ward) -> None:
    with write_session(given.engine) as session:
        other = replace(ASKED, least_seen=90)
        for _ in range(2):
            set_rule(session, given.supervisor, MEASURE, "e1", other, NOW)
    with read_session(given.engine) as session:
        found = rule_for(session, given.student, MEASURE, "e1")
        assert found is not None
        assert found.least_seen == 90
        assert len(session.exec(select(CompetenceRule)).all()) == 2
        assert rule_for(session, given.student, MEASURE, "e2") is None
        assert rule_for(session, given.student, "gait_speed", "e1") is None


def test_rules_of_an_earlier_key_hold_only_once_confirmed(given: Ward) -> None:
    """Never by themselves; once; and not over what was set for the new key."""
    own = replace(ASKED, least_trials=31)
    with write_session(given.engine) as session:
        old = set_rule(session, given.supervisor, MEASURE, "e1", own, NOW)
        assert rule_for(session, given.student, MEASURE, "e2") is None
        for wrong in (old.id - 1, old.id + 7):
            with pytest.raises(NotFound):
                carry_rule(session, given.supervisor, MEASURE, "e2", wrong, NOW)
        one = carry_rule(session, given.supervisor, MEASURE, "e2", old.id, NOW)
        again = carry_rule(session, given.supervisor, MEASURE, "e2", old.id, NOW)

        assert (one.id, one.carried_from, one.edition) == (again.id, "e1", "e2")
        assert as_rule(one) == own
        set_rule(session, given.supervisor, MEASURE, "e3", ASKED, NOW)
        newest = rule_before(session, given.student, MEASURE, "e3")
        assert newest is not None
        assert newest.edition == "e2"
        with pytest.raises(NotFound):
            carry_rule(session, given.supervisor, MEASURE, "e3", newest.id, NOW)
        deeds = session.exec(select(AuditEntry.deed)).all()
    assert deeds.count("carried_competence_rule") == 1


def test_thresholds_keep_their_unit(given: Ward) -> None:
    with write_session(given.engine) as session:
        for unit, rule in DEFAULTS.items():
            row = set_rule(session, given.supervisor, f"of_{unit}", "e1", rule, NOW)
            assert as_rule(row) == rule
            assert row.unit == unit


def test_sign_off_and_withdrawal_both_stay(given: Ward) -> None:
    with write_session(given.engine) as session:
        signed(session, given.supervisor, given.student)
    with read_session(given.engine) as session:
        new, old = sign_offs_of(session, given.student)
        assert new[1] is None
        assert old[1] is not None
        assert old[1].reason == "watched together"
        assert old[0].figures == [{"name": "trials", "has": "20"}]


def test_same_form_twice_is_one_sign_off(given: Ward) -> None:
    with write_session(given.engine) as session:
        uid = new_uid()
        one = signed(session, given.supervisor, given.student, uid=uid)
        two = signed(session, given.supervisor, given.student, uid=uid)
        assert one.id == two.id


def test_withdrawn_once_stays_as_it_was(given: Ward) -> None:
    with write_session(given.engine) as session:
        row, _ = sign_offs_of(session, given.student)[0]
        withdraw(session, given.supervisor, row, "another reason", NOW)
        assert sign_offs_of(session, given.student)[0][1].reason == "watched together"  # type: ignore[union-attr]


def test_nobody_signs_themselves_off(ward: Ward) -> None:
    with write_session(ward.engine) as session, pytest.raises(OwnCompetence):
        signed(session, ward.supervisor, ward.supervisor)


DEEDS: list[Callable[[Session, Person, Person], object]] = [
    lambda s, by, _: learners(s, by),
    lambda s, by, to: learner(s, by, to.id),
    lambda s, by, _: set_rule(s, by, MEASURE, "e1", ASKED, NOW),
    lambda s, by, _: carry_rule(s, by, MEASURE, "e2", 1, NOW),
    lambda s, by, to: signed(s, by, to),
    lambda s, by, to: set_list(s, by, to, {MEASURE: 3}, NOW),
    lambda s, by, _: sign_off_for(s, by, 1),
    lambda s, by, _: withdraw(s, by, s.get_one(CompetenceSignOff, 1), "why", NOW),
]


@pytest.mark.parametrize("deed", DEEDS)
@pytest.mark.parametrize("who", ["student", "therapist", "outsider"])
def test_only_supervisors(
    given: Ward, who: str, deed: Callable[[Session, Person, Person], object]
) -> None:
    with write_session(given.engine) as session, pytest.raises(NotAllowed):
        deed(session, getattr(given, who), given.student)


@pytest.mark.parametrize("deed", DEEDS[1:2] + DEEDS[4:])
def test_supervisor_of_the_other_world_finds_nobody(
    given: Ward, deed: Callable[[Session, Person, Person], object]
) -> None:
    with write_session(given.engine) as session:
        other = make_person(session, "demo_sup", role="supervisor", is_demo=True)
        with pytest.raises(NotFound):
            deed(session, other, given.student)


def test_worlds_have_rules_and_people_of_their_own(given: Ward) -> None:
    with write_session(given.engine) as session:
        other = make_person(session, "demo_sup", role="supervisor", is_demo=True)
        assert rule_for(session, other, MEASURE, "e1") is None
        assert [p.id for p in learners(session, other)] == [other.id]


def test_list_is_replaced_and_emptied(given: Ward) -> None:
    with write_session(given.engine) as session:
        set_list(session, given.supervisor, given.student, {MEASURE: 20}, NOW)
        assert len(session.exec(select(PracticeList)).all()) == 1
        set_list(session, given.supervisor, given.student, {MEASURE: 0}, NOW)
        row = list_of(session, given.student)
        assert row is not None
        assert row.trials == {}
        assert list_of(session, given.therapist) is None


def test_every_deed_is_in_the_trail(given: Ward) -> None:
    with read_session(given.engine) as session:
        in_turn = select(AuditEntry).order_by(col(AuditEntry.id))
        deeds = [e.deed for e in session.exec(in_turn)]
    assert deeds[-4:] == [
        "set_competence_rule", "signed_competence", "withdrew_competence",
        "set_practice_list",
    ]  # fmt: skip


def test_two_raters_get_the_same_trials(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        for person in (ward.student, ward.therapist):
            practise_well(session, person, "e1", 12)
        one, other = (attempts_of(session, p) for p in (ward.student, ward.therapist))
    assert [(a.trial, a.seed) for a in one] == [(a.trial, a.seed) for a in other]


def test_nobody_gets_the_same_trial_twice(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        for _ in range(3):
            practise_well(session, ward.student, "e1", 2)
        practise_well(session, ward.therapist, "e1", 2)
        seeds = {(a.trial, a.seed) for a in attempts_of(session, ward.student)}
        assert len(seeds) == 6
        assert {(a.trial, a.seed) for a in attempts_of(session, ward.therapist)} < seeds


def test_trials_stay_in_their_world_and_edition(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        other = make_person(session, "demo_student", role="student", is_demo=True)
        practise_well(session, ward.student, "e1", 4)
        practise_well(session, other, "e1", 4)
        practise_well(session, ward.therapist, "e2", 4)
        real = {a.seed for a in attempts_of(session, ward.student)}
        assert not real & {a.seed for a in attempts_of(session, other)}
        assert not real & {a.seed for a in attempts_of(session, ward.therapist)}
        assert len(shared_attempts(session, is_demo=True)) == 4
