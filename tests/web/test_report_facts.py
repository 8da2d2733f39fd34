"""What a report is made from: its period to the day, and nothing from outside it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from selectolax.lexbor import LexborHTMLParser
from sqlmodel import Session, select

from app.clinical.note import Line, Ref
from app.clinical.progress_note import progress_note
from app.clinical.report import EpisodeFacts, PeriodFacts
from app.storage import visits
from app.storage.activity_sets import SetBody
from app.storage.database import write_session
from app.storage.episodes import Episode, Visit, close_episode
from app.storage.goal_rows import GoalBody, GoalRow, Standing
from app.storage.goals import say_standing, sign_goal
from app.storage.observations import SymptomCheck, TaskObservation, record
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.profile import write_profile
from app.storage.room_measurements import move_change
from app.storage.safety import record_answers
from app.storage.trials import Round, TrialBody, trials_of, void_trial
from app.web.deps import Site
from app.web.report_end import discharge_facts
from app.web.report_facts import progress_facts
from app.web.report_view import report_view
from tests.conftest import person_by
from tests.make import (
    NOW,
    TODAY,
    make_episode,
    make_goal,
    make_home_sheet,
    make_precaution,
    make_room_change,
    make_room_measure,
    make_round,
    make_set,
    make_trial,
    make_visit,
    new_uid,
)

STANDS = "five_times_sit_to_stand"
HOW = {"arms_used": "no", "device": "none"}


def day(number: int) -> date:
    """Day 1 is that on which care began."""
    return TODAY + timedelta(days=number - 1)


@dataclass
class Care:
    """The one patient's care, day by day, in one session."""

    session: Session
    site: Site
    me: Person
    patient: Patient
    episode: Episode

    def at(self, number: int) -> datetime:
        return NOW + timedelta(days=number - 1)

    def visit(self, number: int, episode: Episode | None = None) -> Visit:
        return make_visit(
            self.session, self.me, episode or self.episode, now=self.at(number)
        )

    def visits(self, *numbers: int) -> Visit:
        """Visits on these days; the last of them."""
        return [self.visit(number) for number in numbers][-1]

    def stands(self, number: int, seconds: str, **facts: str) -> int:
        """Five stands in so many seconds; the number of the round."""
        visit, body = self.visit(number), TrialBody(raw_ms=int(float(seconds) * 1000))
        round = make_round(
            self.session, self.me, visit, measure=STANDS, variant="single",
            facts=HOW | facts, now=self.at(number),
        )  # fmt: skip
        make_trial(self.session, self.me, round, body, now=self.at(number))
        return round.id

    def void(self, round_id: int) -> None:
        """Take back the one trial of a round."""
        (trial,) = trials_of(self.session, self.session.get_one(Round, round_id))
        void_trial(self.session, self.me, trial, reason="slip", now=NOW)

    def say(self, number: int, **said: Any) -> None:
        self._record(number, SymptomCheck, said)

    def task(self, number: int, **said: Any) -> int:
        return self._record(number, TaskObservation, {"task": "kitchen", **said})

    def _record(self, number: int, table: Any, said: dict[str, Any]) -> int:
        row = record(
            self.session, self.me, self.visit(number), table, said, uid=new_uid(),
            now=self.at(number),
        )  # fmt: skip
        found: int = row.id
        return found

    def goal(self, base: int, number: int = 1) -> GoalRow:
        """From a round on a day to 12.0 s, signed on that day."""
        body = GoalBody(
            term="short", who="patient", kind="score", by_date=day(40),
            task="transfer_toilet", measure=STANDS, target_value="12.0",
            target_unit="s", base_round_id=base, base_on=day(number),
            base_says="19.4 s",
        )  # fmt: skip
        goal = make_goal(self.session, self.me, self.episode, body, now=NOW)
        sign_goal(self.session, self.me, goal, version=1, now=NOW)
        return goal

    def word(self, goal: GoalRow, number: int, word: str, **said: Any) -> None:
        say_standing(
            self.session, self.me, goal, Standing(word=word, **said), uid=new_uid(),
            on=day(number), now=self.at(number),
        )  # fmt: skip

    def progress(self, visit: Visit, last: int | None = None) -> PeriodFacts:
        return progress_facts(
            self.session, self.site, visit, day(last) if last else None
        )

    def discharge(self, visit: Visit, last: int | None = None) -> EpisodeFacts:
        return discharge_facts(
            self.session, self.site, visit, day(last) if last else None
        )

    def note(self, visit: Visit, last: int | None = None) -> dict[str, Line]:
        return {x.key: x for x in progress_note(self.progress(visit, last))}


@pytest.fixture
def care(site: Site) -> Iterator[Care]:
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        patient = session.exec(select(Patient)).one()
        episode = session.exec(select(Episode)).one()
        yield Care(session, site, me, patient, episode)


class TestPeriod:
    #: Medicare Benefit Policy Manual, ch. 15, s. 220.3 D (full text): at least once
    #: every 10 treatment days, the first day of the episode being day 1.
    @pytest.mark.parametrize(
        ("written_at", "last", "used"),
        [
            (6, None, 6),
            (10, None, 10),  # visits 1 to 10: due on or before visit 10
            (7, 6, 1),  # a report at visit 6 restarts the count
            (15, 6, 9),
            (16, 6, 10),  # and the next is due by visit 16
        ],
    )
    def test_treatment_days_are_counted_from_the_last_report(
        self, care: Care, written_at: int, last: int | None, used: int
    ) -> None:
        made = [care.visit(number) for number in range(1, 17)]
        facts = care.progress(made[written_at - 1], last)

        assert (facts.days_used, facts.days_of) == (used, 10)
        assert facts.since == day(last + 1 if last else 1)
        assert facts.until == day(written_at)
        said = care.note(made[written_at - 1], last)["treatment_days"].made
        assert said.startswith(f"{used} of 10 treatment days used since the")

    def test_missed_visit_is_no_treatment_day_and_has_its_reason(
        self, care: Care
    ) -> None:
        care.visit(1)
        gone = care.visit(3)
        visits.miss(
            care.session, care.me, gone, reason="declined", told="nurse",
            again="tomorrow", now=care.at(3),
        )  # fmt: skip
        last = care.visit(5)
        found = care.note(last)

        assert care.progress(last).days_used == 2
        assert found["visits"].made == (
            "2 visits attended on 2 treatment days: 2 Mar 2026 and 6 Mar 2026; 1 "
            "missed."
        )
        assert found[f"missed-{gone.id}"].made == (
            "Missed, 4 Mar 2026: declined; told: nurse; again: tomorrow."
        )

    def test_nothing_later_and_no_other_episode_is_among_the_facts(
        self, care: Care
    ) -> None:
        """A report of an earlier visit stays as it was when more came after it."""
        first = care.stands(2, "19.4")
        goal = care.goal(first, 2)
        at = care.visit(5)
        before = progress_note(care.progress(at))
        care.stands(8, "12.0")
        care.word(goal, 8, "progressing", percent=100)
        care.say(8, words="later")
        care.task(8, level="moderate", helpers=1)
        make_set(care.session, care.me, care.visit(8), now=care.at(8))
        other = make_episode(care.session, care.me, care.patient, opened_on=day(1))
        care.visit(3, other)

        assert progress_note(care.progress(at)) == before
        assert care.progress(care.visit(8)) != care.progress(at)

    def test_statements_of_the_period_are_quoted(self, care: Care) -> None:
        care.say(1, words="it aches", pain=6)
        care.say(9, agreed="declined", words="too tired", fell="yes", pain=3)
        found = care.note(care.visit(9), last=4)

        assert found["said-2"].made == (
            "10 Mar 2026: declined, told of a fall since the visit before, “too tired”."
        )
        assert found["said-2"].refs == (Ref("symptoms", 2),)
        assert "said-1" not in found
        assert found["pain"].made == "Pain 3 of 10 on 10 Mar 2026."


class TestNumbers:
    def test_start_last_and_now_of_test_and_goal(self, care: Care) -> None:
        rounds = [care.stands(d, v) for d, v in ((1, "19.4"), (4, "17.8"), (9, "14.6"))]
        goal = care.goal(rounds[0])
        care.word(goal, 9, "progressing", percent=65, says="65 % of the way")
        found = care.note(care.visit(9), last=5)
        refs = tuple(Ref("round", number) for number in rounds)

        assert found[f"measure-{STANDS}"].refs == (*refs, Ref("goal", goal.id))
        assert found[f"goal-{goal.id}"].refs == (Ref("goal", goal.id), *refs)
        assert (
            "Start: 19.4 s, 2 Mar 2026. Last: 17.8 s, 5 Mar 2026. Target: 12.0 s "
            "or less. 65 % of the way"
        ) in found[f"goal-{goal.id}"].made
        assert found[f"goal_status-{goal.id}"].made == (
            "Goal 1: progressing, 10 Mar 2026: 65 % of the way."
        )

    def test_voided_trial_tells_nothing(self, care: Care) -> None:
        care.stands(1, "19.4")
        round_id = care.stands(9, "14.6")
        care.void(round_id)
        text = care.note(care.visit(9))[f"measure-{STANDS}"].made

        assert "14.6" not in text
        assert "the first in this set-up: 19.4 s" in text

    def test_start_that_was_taken_back_is_said(self, care: Care) -> None:
        goal = care.goal(care.stands(1, "19.4"))
        care.void(goal.base_round_id or 0)
        text = care.note(care.visit(9))[f"goal-{goal.id}"].made

        assert "Start: 19.4 s (taken back since)" in text
        assert "the way gained cannot be told" in text

    def test_plateau_needs_two_measures(self, care: Care) -> None:
        goal = care.goal(care.stands(1, "19.4"))
        care.word(goal, 5, "plateau", says="no more gain")
        key = f"goal_status-{goal.id}"
        assert care.note(care.visit(9))[key].asks.startswith("Goal 1 was called a")
        care.stands(7, "19.2")
        care.word(goal, 8, "plateau", says="19.4 s on 2 Mar, 19.2 s on 8 Mar, 6 days")

        assert "plateau, 9 Mar 2026: 19.4 s" in care.note(care.visit(9))[key].made

    def test_tasks_and_sets_stand_with_their_rows(self, care: Care) -> None:
        tasks = [
            care.task(1, level="moderate", share=60, helpers=1),
            care.task(9, level="stand_by", helpers=1),
        ]
        sets = [
            make_set(
                care.session, care.me, care.visit(number),
                SetBody(grade=grade, reps=8, level="minimal"), activity="R01",
                now=care.at(number),
            ).id
            for number, grade in ((1, "22"), (9, "19"))
        ]  # fmt: skip
        found = care.note(care.visit(9))

        assert found["task-kitchen"].refs == tuple(Ref("task", n) for n in tasks)
        assert "patient does 60 %" in found["task-kitchen"].made
        assert found["activity-R01"].refs == tuple(Ref("set", n) for n in sets)
        assert "seat height 22 in" in found["activity-R01"].made
        assert "Graded up" in found["activity-R01"].made


class TestEnd:
    def test_reason_equipment_programme_orders_and_falls(self, care: Care) -> None:
        round_id = care.stands(1, "21.0")
        visit, end = care.visit(1), care.visit(9)
        before = make_room_measure(care.session, care.me, visit)
        change = make_room_change(care.session, care.me, visit, before=before)
        move_change(care.session, care.me, change, "done", now=care.at(9))
        sheet = make_home_sheet(care.session, care.me, care.episode, now=care.at(9))
        order = make_precaution(care.session, care.me, care.episode)
        care.say(9, fell="no")
        said = {"fall_injury": "minor"}
        write_profile(care.session, care.me, care.episode, said, version=0, now=NOW)
        stop = make_set(
            care.session, care.me, visit, SetBody(outcome="stopped", grade="12")
        )
        record_answers(
            care.session, care.me, stop.id, {"what": "fell"}, of="set", base_id=None,
            now=NOW,
        )  # fmt: skip
        close_episode(
            care.session, care.me, care.episode, on=day(10), why="moved", now=NOW
        )
        facts = care.discharge(end)

        assert (facts.end_reason, facts.closed_on, facts.until) == (
            "moved", day(10), day(10),
        )  # fmt: skip
        assert [x.says for x in facts.changes] == [
            "Bathroom: raised toilet seat or frame, by: equipment supplier: done, 10 "
            "Mar 2026; Bathroom, toilet seat, before: 16 in (40.6 cm)"
        ]
        assert facts.changes[0].refs == (
            Ref("room_change", change.id), Ref("room", before.id),
        )  # fmt: skip
        assert facts.home[0].refs == (Ref("home_sheet", sheet.id),)
        assert "shown back; change at home: Keep a light on" in facts.home[0].says
        assert facts.precautions[0].refs == (Ref("precaution", order.id),)
        assert facts.falls.told == ((day(9), False, 1),)
        assert [x.key for x in facts.falls.known] == ["fall_injury"]
        assert facts.falls.stops[0].says.endswith(": fell")
        assert facts.falls.stops[0].refs[0] == Ref("set", stop.id)
        assert facts.falls.rounds == (round_id,)
        assert facts.falls.tests
        assert "beyond its limit" in facts.falls.tests.says

    def test_lifted_order_and_other_patients_things_are_not_there(
        self, care: Care
    ) -> None:
        facts = care.discharge(care.visit(9))

        assert (facts.changes, facts.home, facts.precautions) == ((), (), ())
        assert facts.falls.tests is None
        assert facts.end_reason == ""


class TestView:
    """The tables and tapes say what the lines say, and stand without a script."""

    def rendered(self, site: Site, name: str, view: Any) -> LexborHTMLParser:
        template = site.templates.get_template(f"notes/_report_{name}.html")
        return LexborHTMLParser(template.render(report=view))

    def test_tables_and_tape_show_start_last_and_now(self, care: Care) -> None:
        rounds = [care.stands(d, v) for d, v in ((1, "19.4"), (4, "17.8"), (9, "14.6"))]
        goal = care.goal(rounds[0])
        care.word(goal, 9, "progressing", percent=65)
        view = report_view(care.session, care.site, care.visit(9), "progress", day(5))
        goals = self.rendered(care.site, "goals", view)
        tests = self.rendered(care.site, "measures", view)
        tapes = self.rendered(care.site, "tapes", view)

        def cells(page: LexborHTMLParser) -> list[str]:
            return [" ".join(td.text().split()) for td in page.css("td")]

        assert view.period == "7 Mar 2026 to 10 Mar 2026"
        assert cells(goals) == [
            "19.4 s, 2 Mar 2026", "17.8 s, 5 Mar 2026", "14.6 s, 10 Mar 2026",
            "12.0 s or less", "Real gain", "progressing, 65 %",
        ]  # fmt: skip
        assert cells(tests)[:3] == [
            "19.4 s2 Mar 2026", "17.8 s5 Mar 2026", "14.6 s10 Mar 2026",
        ]  # fmt: skip
        assert "Real gain" in cells(tests)[3]
        drawn = tapes.css_first("svg.tape")
        assert drawn is not None
        assert drawn.attributes["aria-label"] == (
            "start: 19.4 s, 2 Mar; last: 17.8 s, 5 Mar; now: 14.6 s, 10 Mar"
        )
        assert len(drawn.css("circle.pin")) == 2
        assert "12.0 s target" in " ".join(drawn.text().split())

    def test_discharge_table_gives_no_verdict_over_two_set_ups(
        self, care: Care
    ) -> None:
        care.stands(1, "19.4", device="cane")
        care.stands(9, "12.0")
        view = report_view(care.session, care.site, care.visit(9), "discharge")
        (row,) = view.measures
        assert row.change is not None

        assert (row.start.value, row.now.value) == ("19.4 s", "12.0 s")
        assert row.change.words == "No verdict: another set-up"
        assert "walking device: cane then, none now" in row.note
        assert row.tape is not None
        assert [mark.shape for mark in row.tape.pins] == ["other"]
        page = self.rendered(care.site, "measures", view)
        assert [th.text() for th in page.css("thead th")] == [
            "Start", "End", "Change since the start",
        ]  # fmt: skip

    def test_without_goals_or_results_nothing_is_drawn(self, care: Care) -> None:
        view = report_view(care.session, care.site, care.visit(1), "progress")

        for name in ("goals", "measures", "tapes"):
            page = self.rendered(care.site, name, view)
            assert not page.css("table, svg")
