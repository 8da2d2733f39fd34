"""The demo site: it builds, and every patient shows what the file says."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy import Engine
from sqlmodel import col, select

from app.catalogue.load import catalogue
from app.clinical.precautions import clearance
from app.commands.demo_files import DemoPatient, read_story
from app.commands.demo_site import build
from app.practice.competence import sign_off_state, standing
from app.resources import folder
from app.storage import audit
from app.storage.audit import AuditEntry
from app.storage.caseload import CaseloadRow, caseload_for
from app.storage.competence import list_of, sign_offs_of
from app.storage.database import make_engine, migrate, read_session
from app.storage.episodes import Visit
from app.storage.observations import TaskObservation, VitalSigns
from app.storage.owing import Owed
from app.storage.patients import Patient
from app.storage.people import Person, check_passphrase
from app.storage.practice_beside import attempts_of
from app.storage.review import ReviewDecision, VisitText, broken_texts
from app.storage.room_measurements import changes_of, measures_of
from app.storage.scores import Score
from app.storage.team_checks import checks_of, members_of, sent_in
from app.storage.trials import RoundTrials, Trial, rounds_of
from app.web.due import due_tests
from app.web.judging import Judged, judge
from app.web.practice_book import book
from app.web.practised import shared_by
from tests.built_demo import CopyDemo
from tests.make import NOW, TODAY, ZONE

SHELF = catalogue()
FOLDER = folder("demo_data")
STORY = read_story(FOLDER, SHELF)
FIVE, TUG = "five_times_sit_to_stand", "timed_up_and_go"
CUP, REACH, SQUARES = "tug_manual", "functional_reach", "four_square_step"
WALK, CUFF, STANCES = "gait_speed", "orthostatic_vitals", "four_stage_balance"
BATTERY = "short_physical_performance_battery"
HALF_MINUTE, SEATED = "thirty_second_chair_stand", "seated_reach_forward"
WITHIN = "within measurement error"
LONG = "Vermilion Long-tailed Reedbed Bunting of the Third-floor East Corridor"


def make_site(path: Path, now: datetime = NOW) -> Engine:
    engine = make_engine(f"sqlite:///{path}")
    migrate(engine, None)
    build(engine, SHELF, STORY, now=now, zone=ZONE)
    return engine


@pytest.fixture(scope="module")
def demo(
    tmp_path_factory: pytest.TempPathFactory, copy_demo: CopyDemo
) -> Iterator[Engine]:
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite"
    engine = make_engine(f"sqlite:///{copy_demo(path, NOW, ZONE)}")
    yield engine
    engine.dispose()


def told(label: str) -> DemoPatient:
    return next(p for p in STORY.patients if p.label == label)


def judged(engine: Engine, label: str, measure: str) -> list[Judged]:
    """What is to be said of each round of a test, oldest first."""
    with read_session(engine) as session:
        patient = session.exec(select(Patient).where(Patient.label == label)).one()
        rounds = rounds_of(session, patient.id, measure)
        return [judge(session, SHELF, patient, kept.round) for kept in rounds]


def rounds(engine: Engine, label: str, measure: str) -> Sequence[RoundTrials]:
    with read_session(engine) as session:
        patient = session.exec(select(Patient).where(Patient.label == label)).one()
        return rounds_of(session, patient.id, measure)


def scores(engine: Engine, label: str, measure: str) -> list[Score]:
    """The derived scores as lists show them, oldest first."""
    with read_session(engine) as session:
        wanted = (
            select(Score)
            .join(Patient, col(Patient.id) == col(Score.patient_id))
            .where(Patient.label == label, Score.measure == measure)
        )
        return list(session.exec(wanted.order_by(col(Score.on_date))).all())


def caseload(engine: Engine, handle: str) -> list[CaseloadRow]:
    with read_session(engine) as session:
        person = session.exec(select(Person).where(Person.handle == handle)).one()
        return caseload_for(session, person, demo=True, day=date.today())


class TestTheSite:
    """What a demo site holds, whoever is in it."""

    def test_every_file_became_one_patient(self, demo: Engine) -> None:
        files = list((FOLDER / "patients").glob("*.toml"))
        with read_session(demo) as session:
            labels = session.exec(select(Patient.label)).all()

        assert sorted(labels) == sorted(p.label for p in STORY.patients)
        assert len(labels) == len(files) >= 14

    def test_everybody_is_invented(self, demo: Engine) -> None:
        with read_session(demo) as session:
            people = session.exec(select(Person.is_demo)).all()
            patients = session.exec(select(Patient.is_demo)).all()

        assert set(people) == {True}
        assert set(patients) == {True}

    def test_files_say_that_all_is_invented(self) -> None:
        for name in ("README.md", "people.toml"):
            assert "invented" in (FOLDER / name).read_text().lower()

    def test_therapist_of_the_start_page_comes_first(self, demo: Engine) -> None:
        with read_session(demo) as session:
            people = session.exec(select(Person).order_by(col(Person.id))).all()

        assert [(p.handle, p.role) for p in people] == [
            ("demo-therapist", "therapist"),
            ("demo-colleague", "therapist"),
            ("demo-supervisor", "supervisor"),
            ("demo-student", "student"),
            ("demo-new-student", "student"),
            ("demo-new-therapist", "therapist"),
        ]

    def test_practice_is_there_to_be_looked_at(self, demo: Engine) -> None:
        """One test ready to be signed off, a list, a lapsed sign-off, an open check."""
        edition = book().edition
        with read_session(demo) as session:
            by = {p.handle: p for p in session.exec(select(Person))}
            done = attempts_of(session, by["demo-student"])
            shared = shared_by(session, by["demo-student"])
            (off,), (check,) = (
                sign_offs_of(session, by["demo-new-therapist"]),
                checks_of(session, by["demo-new-therapist"]),
            )
            asked = list_of(session, by["demo-student"])
            begun = attempts_of(session, by["demo-new-student"])
            sent = sent_in(session, check)
            people = {p.handle for p in members_of(session, check)}
            colleague = by["demo-colleague"].id
            basis = standing(
                shared_by(session, by["demo-new-therapist"]), off[0].measure, edition
            )

        assert standing(shared, TUG, edition).reached
        assert {a.measure for a in done if not a.shared} == {WALK}
        assert asked is not None
        assert asked.trials == {WALK: 10, FIVE: 5}
        assert basis.reached
        state = sign_off_state(off[0].edition, edition, off[0].until, False, TODAY)
        assert state == "expired"
        assert "nvented" in off[0].words
        assert people == {"demo-colleague", "demo-new-therapist"}
        assert sent == {colleague: 10}
        assert begun == ()

    def test_nobody_has_a_passphrase(self, demo: Engine) -> None:
        with read_session(demo) as session:
            for guess in ("", "none", "demo-therapist"):
                assert check_passphrase(session, "demo-therapist", guess) is None

    def test_audit_trail_is_whole_and_in_order(self, demo: Engine) -> None:
        with read_session(demo) as session:
            entries = session.exec(
                select(AuditEntry).order_by(col(AuditEntry.id))
            ).all()
            broken = audit.verify(session)

        times = [entry.at for entry in entries]
        assert broken is None
        assert len(entries) > 150
        assert times == sorted(times)
        assert times[-1].replace(tzinfo=UTC) <= NOW

    def test_same_day_gives_the_same_site(self, demo: Engine, tmp_path: Path) -> None:
        again = make_site(tmp_path / "again.sqlite")
        again.dispose()

        assert contents(tmp_path / "again.sqlite") == contents(file_of(demo))

    def test_student_sees_every_demo_patient(self, demo: Engine) -> None:
        seen = {row.label for row in caseload(demo, "demo-student")}

        assert seen == {p.label for p in STORY.patients}

    def test_some_are_the_colleagues_alone(self) -> None:
        sole = [p for p in STORY.patients if p.assigned == ("demo-colleague",)]
        own = [p for p in STORY.patients if "demo-therapist" in p.assigned]

        assert 2 <= len(sole) < len(own)

    @pytest.mark.parametrize("day", ["2027-01-01", "2028-02-29", "2027-12-31"])
    def test_any_day_will_do(self, tmp_path: Path, day: str) -> None:
        """New year and a leap day, an hour after midnight: nothing is in the future."""
        now = datetime.fromisoformat(f"{day}T00:30:00+01:00").astimezone(UTC)
        engine = make_site(tmp_path / "demo.sqlite", now)
        with read_session(engine) as session:
            latest = session.exec(select(Trial.recorded_at)).all()
        verdicts = {s.change_verdict for s in scores(engine, "Jade Wren", FIVE)}
        engine.dispose()

        assert max(latest).replace(tzinfo=UTC) < now
        assert verdicts == {None, "newly able"}


def file_of(engine: Engine) -> Path:
    return Path(engine.url.database or "")


def contents(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as site:
        return list(site.iterdump())


# One row for the latest score of a test: what lists show of it.
@pytest.mark.parametrize(
    ("label", "measure", "value", "source", "crossed", "verdict"),
    [
        ("Amber Heron", FIVE, "14.6", "buatois2008", False, "real gain"),
        ("Amber Heron", TUG, "12.7", "kojima2015", True, "real gain"),
        ("Cobalt Badger", FIVE, "13.9", "buatois2008", False, "cannot be told"),
        (
            "Saffron Otter",
            FIVE,
            "15.9",
            "buatois2008",
            True,
            WITHIN,
        ),
        ("Saffron Otter", REACH, "22.8", "lusardi2017", False, "cannot be told"),
        ("Teal Marten", TUG, "19.8", "kojima2015", True, "sources disagree"),
        ("Teal Marten", CUP, "24.9", "shumwaycook2000", True, None),
        ("Violet Lynx", TUG, "12.4", "nocera2013", True, "real gain"),
        ("Violet Lynx", SQUARES, "10.8", "duncan2013fsst", True, None),
        ("Copper Plover", TUG, "30.2", "kristensen2007", True, "real gain"),
        ("Olive Hare", SQUARES, "13.1", "whitney2007", True, None),
        ("Slate Tern", TUG, "22.4", "dite2007", True, None),
        ("Coral Curlew", TUG, "9.3", "sawers2020", True, None),
        ("Coral Curlew", SQUARES, "10.1", "sawers2020", True, None),
        ("Ivory Newt", TUG, "16.9", "kojima2015", True, WITHIN),
        ("Umber Stoat", SQUARES, "11.8", "kalron2016", None, "real gain"),
        ("Jade Wren", FIVE, "24.8", "buatois2008", True, "newly able"),
        ("Russet Ibex", FIVE, "12.4", "", None, None),
        ("Russet Ibex", SQUARES, "11.0", "", None, None),
        (LONG, TUG, "33.0", "", None, WITHIN),
        ("Amber Heron", WALK, "0.88", "middleton2016", False, WITHIN),
        ("Amber Heron", CUFF, "22", "", None, "cannot be told"),
        ("Saffron Otter", STANCES, "2", "cdc_four_stage", True, "cannot be told"),
        ("Saffron Otter", BATTERY, "8", "veronese2014", True, WITHIN),
        ("Jade Wren", HALF_MINUTE, "5", "steadi2017", True, None),
        ("Indigo Kestrel", SEATED, "22.8", "", None, None),
    ],
)
def test_latest_score_shows_what_it_should(
    demo: Engine,
    label: str,
    measure: str,
    value: str,
    source: str,
    crossed: bool | None,
    verdict: str | None,
) -> None:
    latest = scores(demo, label, measure)[-1]

    assert (latest.outcome, latest.value) == ("completed", value)
    assert (latest.lead_source, latest.lead_crossed) == (source, crossed)
    assert latest.change_verdict == verdict


class TestTheStory:
    """What single patients are there to show."""

    def test_four_like_walks_make_a_row(self, demo: Engine) -> None:
        last = judged(demo, "Amber Heron", WALK)[-1]

        assert [e.comparable for e in last.earlier] == [True, True, True]
        assert [str(e.score.shown) for e in last.earlier] == ["0.71", "0.76", "0.81"]

    def test_postural_drop_is_seen_twice_and_brings_its_caution(
        self, demo: Engine
    ) -> None:
        falls = judged(demo, "Amber Heron", CUFF)
        results = [j.result for j in falls]

        assert [str(r.score.shown) for r in results if r] == ["24", "22"]
        assert all("Sit or lie the person down" in " ".join(r.cautions)
                   for r in results if r)  # fmt: skip

    def test_battery_is_made_from_the_tests_of_its_day(self, demo: Engine) -> None:
        first, last = scores(demo, "Saffron Otter", BATTERY)

        assert (first.value, last.value) == ("7", "8")
        kept = rounds(demo, "Saffron Otter", BATTERY)
        assert [len(k.trials) for k in kept] == [0, 0]

    def test_four_comparable_scores_make_a_row(self, demo: Engine) -> None:
        last = judged(demo, "Amber Heron", FIVE)[-1]

        assert [e.comparable for e in last.earlier] == [True, True, True]

    def test_voided_trial_was_repeated(self, demo: Engine) -> None:
        kept = rounds(demo, "Amber Heron", FIVE)[1]
        score = scores(demo, "Amber Heron", FIVE)[1]

        assert [t.void_reason for t in kept.trials] == [
            "The count was lost: only four stands",
            None,
        ]
        assert score.value == "18.6"

    @pytest.mark.parametrize(
        ("label", "measure"), [("Cobalt Badger", FIVE), ("Coral Curlew", SQUARES)]
    )
    def test_disagreement_is_said(self, demo: Engine, label: str, measure: str) -> None:
        result = judged(demo, label, measure)[-1].result

        assert result is not None
        assert any(c.startswith("Sources disagree:") for c in result.cautions)

    def test_off_and_on_medication_are_not_compared(self, demo: Engine) -> None:
        off, on, later = scores(demo, "Violet Lynx", TUG)
        changes = [
            j.result.change for j in judged(demo, "Violet Lynx", TUG) if j.result
        ]

        assert off.change_verdict is None
        assert on.change_verdict == "not comparable"
        assert changes[1] is not None
        said = "medication for Parkinson disease: off then, on now"
        assert changes[1].differs == (said,)
        assert changes[2] is not None
        assert changes[2].difference == Decimal("-4.0")
        assert later.change_verdict == "real gain"

    def test_cup_is_set_against_the_plain_walk(self, demo: Engine) -> None:
        result = judged(demo, "Teal Marten", CUP)[-1].result

        assert result is not None
        assert float(result.score.parts["difference"].value) == pytest.approx(5.1)

    def test_home_was_measured_changed_and_measured_again(self, demo: Engine) -> None:
        with read_session(demo) as session:
            wanted = select(Patient).where(Patient.label == "Jade Wren")
            patient = session.exec(wanted).one()
            toilet, strip = changes_of(session, patient.id)
            rooms = {row.room for row in measures_of(session, patient.id)}

        assert (toilet.state, strip.state) == ("done", "proposed")
        assert toilet.before is not None
        assert toilet.after is not None
        assert (toilet.before.value, toilet.after.value) == ("15.25", "18.75")
        assert rooms == {"bathroom", "bedroom", "living_room"}

    def test_unable_came_before_able(self, demo: Engine) -> None:
        first, second = scores(demo, "Jade Wren", FIVE)

        assert (first.outcome, first.value) == ("unable", None)
        assert second.outcome == "completed"

    @pytest.mark.parametrize(
        ("measure", "why"), [(FIVE, "seat height 20 in"), (SQUARES, "flat tape")]
    )
    def test_off_the_set_up_nothing_leads(
        self, demo: Engine, measure: str, why: str
    ) -> None:
        result = judged(demo, "Russet Ibex", measure)[-1].result

        assert result is not None
        assert result.lead is None
        assert why in result.no_lead_because

    def test_unknown_weight_bearing_blocks_every_standing_test(
        self, demo: Engine
    ) -> None:
        row = next(
            r for r in caseload(demo, "demo-colleague") if r.label == "Indigo Kestrel"
        )
        standing = [m for m in SHELF.measures.values() if m.posture == "standing"]

        assert standing
        for measure in standing:
            assert not clearance(measure.must_not, (), row.precautions).allowed

    def test_lifted_orders_no_longer_hold(self, demo: Engine) -> None:
        row = next(
            r for r in caseload(demo, "demo-therapist") if r.label == "Copper Plover"
        )

        assert row.precautions == ("osteoporosis",)

    def test_fast_walk_with_a_rollator_takes_the_fastest(self, demo: Engine) -> None:
        last = rounds(demo, "Copper Plover", TUG)[-1]

        assert last.round.variant == "fastest_of_three"
        assert last.round.facts["device"] == "rollator"
        assert [t.raw_ms for t in last.trials] == [33_000, 31_400, 30_200]

    @pytest.mark.parametrize(
        ("label", "measure", "outcome"),
        [
            ("Slate Tern", SQUARES, "stopped"),
            ("Lilac Vole", REACH, "declined"),
            ("Indigo Kestrel", TUG, "not_done"),
        ],
    )
    def test_outcome_without_a_number_has_its_reason(
        self, demo: Engine, label: str, measure: str, outcome: str
    ) -> None:
        [score] = scores(demo, label, measure)
        [kept] = rounds(demo, label, measure)

        assert (score.outcome, score.value) == (outcome, None)
        assert kept.trials[0].reason

    def test_reach_was_read_in_inches_then_in_centimetres(self, demo: Engine) -> None:
        first, second = rounds(demo, "Saffron Otter", REACH)
        counted = [t for t in first.trials if not t.practice]

        assert {t.raw_unit for t in counted} == {"in"}
        assert [t.raw_value for t in counted] == ["7.5", "8.0", "8.5"]
        assert counted[0].start_mark == "3.5"
        assert {t.raw_unit for t in second.trials} == {"cm"}
        assert first.round.person_id != second.round.person_id

    def test_edge_of_an_age_band_shows_both_sides(self, demo: Engine) -> None:
        result = judged(demo, "Lilac Vole", TUG)[-1].result
        bands = ("if still 79", "if already 80")

        assert result is not None
        assert result.person.ages == (79, 80)
        for band in bands:
            assert any(band in r.match.assumed for r in result.readings)

    def test_important_change_is_shown_beside_one_not_told(self, demo: Engine) -> None:
        result = judged(demo, "Olive Hare", FIVE)[-1].result

        assert result is not None
        assert result.change is not None
        assert [r.verdict for r in result.change.readings if r.matched] == ["important"]

    def test_somebody_has_no_visit_yet(self, demo: Engine) -> None:
        row = next(
            r for r in caseload(demo, "demo-therapist") if r.label == "Scarlet Dormouse"
        )

        assert row.last_scores == ()
        assert row.reason

    def test_longest_label_and_plan_to_maintain(self) -> None:
        patient = told(LONG)

        assert 65 <= len(patient.label) <= 80
        assert patient.plan == "maintain"

    def test_three_or_more_retests_are_due(self, demo: Engine) -> None:
        due = {
            row.label: [
                d.measure.id
                for d in due_tests(SHELF, row.last_scores, row.precautions, TODAY, None)
            ]
            for row in caseload(demo, "demo-therapist")
        }
        owed = {label: tests for label, tests in due.items() if tests}

        assert owed == {"Amber Heron": [TUG], "Lilac Vole": [TUG], LONG: [TUG]}

    def test_due_tests_can_repeat_their_set_up(self, demo: Engine) -> None:
        for label in ("Amber Heron", "Lilac Vole", LONG):
            last = rounds(demo, label, TUG)[-1]

            assert {"course", "seat_height", "device", "pace"} <= set(last.round.facts)


class TestVisits:
    """Visits as they went, and what waits for a supervisor."""

    def test_students_visits_wait_to_be_read(self, demo: Engine) -> None:
        with read_session(demo) as session:
            owed = session.exec(select(Owed).where(Owed.kind == "co_sign")).all()
            texts = session.exec(select(VisitText)).all()
            decided = session.exec(select(ReviewDecision)).all()

        handed_in = [text for text in texts if text.kind == "handed_in"]
        assert len(owed) == len(handed_in) == 2
        assert decided == []
        assert all("Invented for the demo." in "\n".join(t.lines) for t in texts)
        assert any("nursing aide" in line for text in texts for line in text.lines)

    def test_visits_of_several_patients_are_whole(self, demo: Engine) -> None:
        with read_session(demo) as session:
            closed = session.exec(
                select(Visit).where(col(Visit.closed_at).is_not(None))
            ).all()
            tasks = session.exec(select(TaskObservation)).all()
            vitals = session.exec(select(VitalSigns)).all()

        assert len({visit.episode_id for visit in closed}) >= 5
        assert len({task.visit_id for task in tasks}) >= 5
        assert len(vitals) >= 4
        assert all(visit.individual_minutes for visit in closed)
        assert [v.left_without for v in closed if v.left_without]

    def test_minutes_agree_with_start_and_end(self, demo: Engine) -> None:
        with read_session(demo) as session:
            closed = session.exec(
                select(Visit).where(col(Visit.closed_at).is_not(None))
            ).all()

        for visit in closed:
            assert visit.closed_at is not None
            passed = (visit.closed_at - visit.started_at).total_seconds() / 60
            assert passed == visit.individual_minutes

    def test_texts_are_sound(self, demo: Engine) -> None:
        with read_session(demo) as session:
            assert broken_texts(session) == []
