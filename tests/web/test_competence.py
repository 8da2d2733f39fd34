"""Progress is one's own; supervisors of the same world see what was shared and sign."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.practice import agreement
from app.practice.cases import edition_of
from app.resources import folder
from app.settings import Settings
from app.storage.competence import CompetenceSignOff, list_of
from app.storage.database import read_session, write_session
from app.storage.people import start_sign_in
from app.storage.practice import PracticeAttempt, PracticeShowing
from app.web.deps import Site
from app.web.practice_book import book
from app.web.practised import key_edition
from tests.conftest import Clock, client_of, found, person_by, running
from tests.make import PASSPHRASE, make_person, new_uid
from tests.make_practice import COUNTED, MEASURE, REACHED, practise, practise_well
from tests.web.test_practice import begin, latest, said_as, send

SignInAs = Callable[[str], TestClient]


def id_of(site: Site, handle: str) -> int:
    with read_session(site.engine) as session:
        return person_by(session, handle).id


def give(site: Site, handle: str, n: int = 20, *, shared: bool = True) -> None:
    with write_session(site.engine) as session:
        practise_well(session, person_by(session, handle), key_edition(), n,
                      shared=shared)  # fmt: skip


def signing(**said: str) -> dict[str, str]:
    return {
        "form": f"sign-{MEASURE}", "uid": new_uid(), "measure": MEASURE,
        "edition": key_edition(), "words": "", "passphrase": PASSPHRASE, **said,
    }  # fmt: skip


def page_of(client: TestClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.text


def sign_offs(site: Site) -> list[CompetenceSignOff]:
    with read_session(site.engine) as session:
        rows = list(session.exec(select(CompetenceSignOff)))
        session.expunge_all()
    return rows


class TestProgress:
    def test_own_figures_with_picture_and_words(
        self, student: TestClient, site: Site
    ) -> None:
        give(site, "student")
        text = page_of(student, "/practice/progress")

        assert "On average 0.03 s longer than the key" in text
        label = found(text, "svg.care").attributes["aria-label"]
        assert label is not None
        assert "0.03 s longer" in label
        assert len(text.split('class="pin"')) == 21
        assert "Timing and scoring only" in text
        assert "reach everything that is asked" in text

    def test_nothing_is_claimed_of_nine(self, student: TestClient, site: Site) -> None:
        give(site, "student", 9)
        text = page_of(student, "/practice/progress")

        assert '<svg class="care"' not in text
        assert "told from 10 trials on" in text
        assert "Cannot be told yet" in text

    def test_what_is_not_shared_counts_for_oneself_alone(
        self, student: TestClient, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "student", shared=False)
        mine = page_of(student, "/practice/progress")
        theirs = page_of(supervisor, f"/practice/people/{id_of(site, 'student')}")

        assert "20 trials judged" in mine
        assert "A supervisor judges what you shared: 0 trials" in mine
        assert "Nothing shared yet" in theirs
        assert "longer than the key" not in theirs

    def test_nobody_sees_anothers(
        self, student: TestClient, colleague: TestClient, site: Site
    ) -> None:
        give(site, "student")

        assert "No trial yet" in page_of(colleague, "/practice/progress")
        assert colleague.get("/practice/agreement").status_code == 403
        for path in ("people/1", f"people/{id_of(site, 'student')}"):
            assert student.get(f"/practice/{path}").status_code == 403
            assert colleague.get(f"/practice/{path}").status_code == 403

    def test_missed_faults_are_named(self, student: TestClient, site: Site) -> None:
        with write_session(site.engine) as session:
            me = person_by(session, "student")
            for i in range(20):
                practise(session, me, key_edition(), trial=i + 1, void=i % 2 == 1,
                         says_void=False)  # fmt: skip
        text = page_of(student, "/practice/progress")

        assert "Moved before the word go: 10 of 10" in text
        assert "0 % (0 of 10)" in text

    @pytest.mark.parametrize(
        ("measure", "off", "says", "asked", "field"),
        [
            (COUNTED, 0, "On average the same as the key", "within 0.25 either way",
             "at most (stands)"),
            (COUNTED, 1000, "On average 1.00 more than the key",
             "within 0.25 either way", "at most (stands)"),
            (REACHED, -500, "On average 0.50 in shorter than the key",
             "within 0.25 in either way", "at most (in)"),
        ],
    )  # fmt: skip
    def test_count_and_distance_are_judged_in_their_unit(
        self, student: TestClient, supervisor: TestClient, site: Site, measure: str,
        off: int, says: str, asked: str, field: str,
    ) -> None:  # fmt: skip
        """On own progress, the team's page, the rule's page, and signed off."""
        with write_session(site.engine) as session:
            for who in ("student", "colleague"):
                practise_well(session, person_by(session, who), key_edition(),
                              measure=measure, offs=(off,))  # fmt: skip
        path = f"/practice/people/{id_of(site, 'student')}"
        said = signing(form=f"sign-{measure}", measure=measure, words="Seen together")
        answer = supervisor.post(f"{path}/sign-off", data=said)
        pages = [page_of(student, "/practice/progress"), page_of(supervisor, path)]
        team = page_of(supervisor, f"/practice/agreement?measure={measure}")

        assert answer.status_code == 303
        for text in pages:
            assert says in text
            assert asked in text
            assert ("Reached" in found(text, "ul.checks").text()) is True
            assert "Signed off" in text
        assert team.count(says) >= 2
        assert "absolute agreement of the" in team
        assert field in page_of(supervisor, f"/practice/rules/{measure}")
        assert sign_offs(site)[0].figures[1]["asks"] == asked

    def test_what_was_read_in_words_is_told_apart(
        self, student: TestClient, supervisor: TestClient, site: Site
    ) -> None:
        """Its faults and decision count; of timing it says nothing, and cannot sign."""
        with write_session(site.engine) as session:
            me = person_by(session, "student")
            practise_well(session, me, key_edition(), 12)
            for n in range(13, 23):
                practise(session, me, key_edition(), trial=n, way="words", off=9_000,
                         void=n % 2 == 0)  # fmt: skip
        text = page_of(student, "/practice/progress")
        path = f"/practice/people/{id_of(site, 'student')}/sign-off"
        answer = supervisor.post(path, data=signing(words="Good enough"))

        assert "12 trials judged" in text
        assert "Read in words: 10." in text
        assert "12 timed, and 10 with faults and decision alone" in text
        assert "On average 0.03 s longer than the key" in text
        assert text.count("<td>read in words</td>") == 10
        assert text.count("not timed</td>") == 10
        assert text.count("<td>watched</td>") == 12
        assert "100 % (11 of 11)" in text
        assert answer.status_code == 422

    def test_what_was_not_timed_is_counted_once(
        self, student: TestClient, site: Site
    ) -> None:
        """45 tries, 10 of the latest 40 read: 35 with a time, 10 without."""
        with write_session(site.engine) as session:
            me = person_by(session, "student")
            for n in range(1, 46):
                practise(session, me, key_edition(), trial=n, off=n,
                         way="words" if n > 35 else "watched")  # fmt: skip
        text = page_of(student, "/practice/progress")

        assert "35 trials judged." in text
        assert "10 more were not timed" in text
        assert "35 timed, and 10 with faults and decision alone" in text

    def test_as_many_are_judged_as_are_asked_for(
        self, student: TestClient, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "student")
        before = page_of(student, "/practice/progress")
        rules = f"/practice/rules/{MEASURE}"
        supervisor.post(rules, data={**TYPED, "least_trials": "60"})

        assert "At most the latest 40 results are judged" in before
        after = page_of(student, "/practice/progress")
        assert "At most the latest 60 results are judged" in after
        assert "latest 40" not in after

    def test_days_are_the_sites_own(self, settings: Settings, clock: Clock) -> None:
        """At NOW it is still the evening before, far enough west of Greenwich."""
        west = settings.model_copy(update={"site_timezone": "Pacific/Honolulu"})
        with running(west, clock) as app:
            give(app.state.site, "student")
            supervisor = entered(app, app.state.site, "supervisor", clock)
            path = f"/practice/people/{id_of(app.state.site, 'student')}"
            supervisor.post(f"{path}/sign-off", data=signing())
            signed = page_of(supervisor, path)
            why = {"form": "withdraw-1", "reason": "Watched another"}
            supervisor.post("/practice/sign-offs/1/withdraw", data=why)
            text = page_of(supervisor, path)

        assert "By Supervisor, 1 Mar" in signed
        assert "Withdrawn by Supervisor, 1 Mar" in text
        assert text.count(">1 Mar<span") == 20
        assert "2 Mar" not in signed + text

    def test_parts_are_shown_and_asked_for_by_nothing(
        self, student: TestClient, site: Site
    ) -> None:
        give(site, "student", 12)
        text = page_of(student, "/practice/progress")

        assert "at the line: 0.08 s late on average (SD 0.00 s), n = 12" in text
        checks = found(text, "ul.checks").text()
        assert "at the line" not in checks

    def test_robot_comes_through_the_real_form(
        self, student: TestClient, site: Site
    ) -> None:
        """It stops 0.05 and 0.25 s late in turn: 0.15 s, SD 0.10 x root(12/11)."""
        case = "stands_older"
        trials = [plan.number for plan in book().cases[case].trials]
        for i in range(12):
            begin(student, case, trials[i % len(trials)])
            showing, key = latest(site)
            late = key.stop_ms + (50, 250)[i % 2]
            send(student, showing, said_as(key, stop_ms=str(late)))
        text = page_of(student, "/practice/progress")

        assert "On average 0.15 s longer than the key" in text
        assert "SD 0.10 s; n = 12" in text
        assert "stopped 0.15 s late on average" in text
        assert "started as the key does" in text

    def test_earlier_edition_is_kept_and_not_judged(
        self, student: TestClient, site: Site
    ) -> None:
        with write_session(site.engine) as session:
            practise_well(session, person_by(session, "student"), "older", 3)
        text = page_of(student, "/practice/progress")

        assert "3 trials of an earlier edition" in text
        assert "judged here" in text


class TestSignOff:
    def test_supervisor_signs_and_the_student_sees_it(
        self, student: TestClient, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "student")
        path = f"/practice/people/{id_of(site, 'student')}"
        answer = supervisor.post(f"{path}/sign-off", data=signing())
        text = page_of(student, "/practice/progress")

        assert answer.status_code == 303
        assert answer.headers["location"] == f"{path}#{MEASURE}"
        assert "Signed off" in text
        assert "By Supervisor, 2 Mar; until 2 Mar 2027" in text
        assert "20 (asked: at least 20). Reached." in text

    def test_passphrase_is_asked_again(
        self, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "student")
        path = f"/practice/people/{id_of(site, 'student')}/sign-off"
        for wrong in ("", "not mine at all"):
            answer = supervisor.post(path, data=signing(passphrase=wrong, words="Seen"))
            assert answer.status_code == 422
            assert found(answer.text, "#passphrase-error").text()
            words = found(answer.text, f"#words-{MEASURE}")
            assert words.text() == "Seen"
        assert sign_offs(site) == []

    def test_too_few_shared_cannot_be_signed(
        self, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "student", 19)
        path = f"/practice/people/{id_of(site, 'student')}"
        answer = supervisor.post(f"{path}/sign-off", data=signing(words="good enough"))

        assert answer.status_code == 422
        assert "19 shared trials" in found(answer.text, "#sign-error").text()
        assert "it takes at least 20 shared trials" in page_of(supervisor, path)

    def test_not_reached_takes_a_reason(
        self, supervisor: TestClient, site: Site
    ) -> None:
        with write_session(site.engine) as session:
            practise_well(session, person_by(session, "student"), key_edition(),
                          offs=(900, 1000))  # fmt: skip
        path = f"/practice/people/{id_of(site, 'student')}"
        without = supervisor.post(f"{path}/sign-off", data=signing())
        with_one = supervisor.post(f"{path}/sign-off", data=signing(words="Old watch"))

        assert "say why" in found(without.text, "#words-error").text()
        assert with_one.status_code == 303
        text = page_of(supervisor, path)
        assert "“Old watch”" in text
        assert "Not reached yet" in text

    def test_changed_key_is_said(self, supervisor: TestClient, site: Site) -> None:
        give(site, "student")
        path = f"/practice/people/{id_of(site, 'student')}/sign-off"
        answer = supervisor.post(path, data=signing(edition="older"))

        assert "key has changed" in found(answer.text, "#sign-error").text()
        assert sign_offs(site) == []

    def test_sign_off_of_an_earlier_edition_stays_and_says_so(
        self, supervisor: TestClient, student: TestClient, site: Site
    ) -> None:
        give(site, "student")
        path = f"/practice/people/{id_of(site, 'student')}"
        supervisor.post(f"{path}/sign-off", data=signing())
        with write_session(site.engine) as session:
            for row in session.exec(select(CompetenceSignOff)):
                row.edition = "older"
            for showing in session.exec(select(PracticeShowing)):
                showing.edition = "older"
        for client, where in ((supervisor, path), (student, "/practice/progress")):
            text = page_of(client, where)
            assert "Signed off for an earlier edition of the key" in text
            assert "Edition older of the key" in text

    def test_it_expires(
        self, supervisor: TestClient, student: TestClient, site: Site, clock: Clock
    ) -> None:
        give(site, "student")
        path = f"/practice/people/{id_of(site, 'student')}/sign-off"
        supervisor.post(path, data=signing())
        assert sign_offs(site)[0].until is not None
        with write_session(site.engine) as session:
            row = session.get_one(CompetenceSignOff, 1)
            row.until = clock.now.date().replace(day=1)
        assert "has expired" in page_of(student, "/practice/progress")

    def test_setting_of_none_never_expires(
        self, settings: Settings, clock: Clock
    ) -> None:
        for_good = settings.model_copy(update={"competence_months": 0})
        with running(for_good, clock) as app:
            site: Site = app.state.site
            give(site, "student")
            supervisor = entered(app, site, "supervisor", clock)
            path = f"/practice/people/{id_of(site, 'student')}/sign-off"
            assert supervisor.post(path, data=signing()).status_code == 303
            assert sign_offs(site)[0].until is None

    def test_withdrawn_with_a_reason_and_both_stay(
        self, supervisor: TestClient, student: TestClient, site: Site
    ) -> None:
        give(site, "student")
        path = f"/practice/people/{id_of(site, 'student')}"
        supervisor.post(f"{path}/sign-off", data=signing())
        take = "/practice/sign-offs/1/withdraw"
        form = {"form": "withdraw-1"}
        without = supervisor.post(take, data={**form, "reason": " "})
        done = supervisor.post(take, data={**form, "reason": "Watched another clock"})
        text = page_of(student, "/practice/progress")

        assert without.status_code == 422
        assert "Say why" in found(without.text, "#reason-error").text()
        assert done.status_code == 303
        assert "The sign-off was withdrawn" in text
        assert "Withdrawn by Supervisor, 2 Mar: Watched another clock" in text

    def test_attempts_behind_it_stay_shared(
        self, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "student")
        path = f"/practice/people/{id_of(site, 'student')}/sign-off"
        supervisor.post(path, data=signing())
        with read_session(site.engine) as session:
            rows = session.exec(select(PracticeAttempt)).all()
        assert len(rows) == 20
        assert all(row.stays_shared for row in rows)

    def test_stops_it_was_told_beside_stay_shared_too(
        self, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "student", 21)
        with write_session(site.engine) as session:
            row = session.exec(select(PracticeAttempt)).all()[-1]
            row.made_safe, row.start_ms, row.stop_ms = True, None, None
            row.splits = []
            session.add(row)
        path = f"/practice/people/{id_of(site, 'student')}/sign-off"
        assert supervisor.post(path, data=signing()).status_code == 303
        with read_session(site.engine) as session:
            stopped = select(PracticeAttempt).where(col(PracticeAttempt.made_safe))
            assert session.exec(stopped).one().stays_shared

    def test_own_sign_off_takes_another(
        self, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "supervisor")
        path = f"/practice/people/{id_of(site, 'supervisor')}"
        answer = supervisor.post(f"{path}/sign-off", data=signing())

        assert answer.status_code == 422
        assert "another supervisor" in found(answer.text, "#sign-error").text()
        assert f"/{path}/sign-off" not in page_of(supervisor, path)

    def test_other_world_finds_nobody(
        self, supervisor: TestClient, sign_in_as: SignInAs, site: Site
    ) -> None:
        give(site, "student")
        path = f"/practice/people/{id_of(site, 'student')}"
        supervisor.post(f"{path}/sign-off", data=signing())
        with write_session(site.engine) as session:
            make_person(session, "invented", role="supervisor", is_demo=True)
        other = sign_in_as("invented")

        assert other.get(path).status_code == 404
        for form in ("sign-off", "list"):
            assert other.post(f"{path}/{form}", data=signing()).status_code == 404
        assert other.post("/practice/sign-offs/1/withdraw").status_code == 404
        text = page_of(other, "/practice/agreement")
        assert "Nobody has shared" in text
        assert "Student" not in text


def entered(app: FastAPI, site: Site, handle: str, clock: Clock) -> TestClient:
    with write_session(site.engine) as session:
        token = start_sign_in(session, person_by(session, handle), clock())
    client = client_of(app)
    client.cookies.set("tapeline", token, domain="localhost.local")
    return client


class TestList:
    def test_list_is_set_and_counts_from_then(
        self, supervisor: TestClient, student: TestClient, site: Site, clock: Clock
    ) -> None:
        path = f"/practice/people/{id_of(site, 'student')}"
        with write_session(site.engine) as session:
            practise(session, person_by(session, "student"), key_edition())
        clock.move(minutes=2)
        form = {"form": "list", f"trials-{MEASURE}": "10"}
        answer = supervisor.post(f"{path}/list", data=form)
        with write_session(site.engine) as session:
            practise(session, person_by(session, "student"), key_edition(),
                     at=clock.now, shared=False)  # fmt: skip

        assert answer.status_code == 303
        assert "1 of 10 trials" in page_of(student, "/practice/progress")
        field = found(page_of(supervisor, path), f"#trials-{MEASURE}")
        assert field.attributes["value"] == "10"

    @pytest.mark.parametrize("typed", ["-1", "201", "2.5", "many", "1000"])
    def test_bad_number_comes_back(
        self, supervisor: TestClient, site: Site, typed: str
    ) -> None:
        path = f"/practice/people/{id_of(site, 'student')}/list"
        form = {"form": "list", f"trials-{MEASURE}": typed, "trials-gait_speed": "7"}
        answer = supervisor.post(path, data=form)

        assert answer.status_code == 422
        assert found(answer.text, f"#trials-{MEASURE}-error").text()
        kept = found(answer.text, f"#trials-{MEASURE}").attributes["value"]
        assert kept == typed
        assert found(answer.text, "#trials-gait_speed").attributes["value"] == "7"
        with read_session(site.engine) as session:
            assert list_of(session, person_by(session, "student")) is None


def book_edition() -> str:
    """Of the cases as they are, whatever a test says they are now."""
    return edition_of(folder("demo_data") / "practice")


TYPED = {"least_trials": "30", "most_bias": "0.1", "most_apart": "0.35",
         "least_seen": "90", "least_kappa": "0.75"}  # fmt: skip


class TestRule:
    PATH = f"/practice/rules/{MEASURE}"

    def test_it_is_set_and_used(
        self, supervisor: TestClient, student: TestClient, site: Site
    ) -> None:
        give(site, "student")
        before = page_of(supervisor, self.PATH)
        answer = supervisor.post(self.PATH, data=TYPED)
        after = page_of(supervisor, self.PATH)
        mine = page_of(student, "/practice/progress")

        assert "common practice" in before
        assert found(before, "#most_bias").attributes["value"] == "0.2"
        assert answer.status_code == 303
        assert "Set by Supervisor" in after
        assert found(after, "#most_apart").attributes["value"] == "0.35"
        assert "asked: at least 30" in mine
        assert "set by a supervisor" in mine

    @pytest.mark.parametrize(
        ("name", "typed"),
        [("least_trials", "9"), ("least_trials", "201"), ("least_trials", "20.5"),
         ("most_bias", "0.205"), ("most_bias", "-1"), ("most_apart", "11"),
         ("least_seen", "101"), ("least_kappa", "1.01"), ("least_kappa", "0.555"),
         ("least_kappa", ""), ("least_kappa", "."), ("least_seen", "1e1")],
    )  # fmt: skip
    def test_bad_threshold_comes_back(
        self, supervisor: TestClient, name: str, typed: str
    ) -> None:
        answer = supervisor.post(self.PATH, data=TYPED | {name: typed})

        assert answer.status_code == 422
        assert found(answer.text, f"#{name}-error").text()
        assert found(answer.text, f"#{name}").attributes["value"] == typed

    def test_thresholds_of_an_earlier_key_are_confirmed_and_never_slip_in(
        self, supervisor: TestClient, student: TestClient, site: Site,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:  # fmt: skip
        supervisor.post(self.PATH, data=TYPED)
        give(site, "student")
        changed = replace(book(), edition="next")
        for module in ("practised", "practice_book"):
            monkeypatch.setattr(f"app.web.{module}.book", lambda: changed)
        give(site, "student")
        before, mine = (page_of(supervisor, self.PATH),
                        page_of(student, "/practice/progress"))  # fmt: skip
        offered = found(before, "#before")
        form = {i.attributes["name"]: i.attributes["value"] or ""
                for i in offered.css("input") if i.attributes["name"]}  # fmt: skip

        assert "Trials, at least: 30" in offered.text()
        assert "These are the defaults" in before
        assert found(before, "#least_trials").attributes["value"] == "20"
        assert "asked: at least 20" in mine
        assert f"those set for edition {book_edition()} of the key were not" in mine
        stale = supervisor.post(f"{self.PATH}/as-before", data=form | {"edition": "x"})
        assert stale.status_code == 422
        wrong = supervisor.post(f"{self.PATH}/as-before", data=form | {"before": "99"})
        assert wrong.status_code == 404
        assert "asked: at least 20" in page_of(student, "/practice/progress")

        for _ in range(2):
            done = supervisor.post(f"{self.PATH}/as-before", data=form)
            assert done.status_code == 303
        after, mine = (page_of(supervisor, self.PATH),
                       page_of(student, "/practice/progress"))  # fmt: skip
        assert (
            f"As before (edition {book_edition()}), confirmed for this key by " in after
        )
        assert 'id="before"' not in after
        assert "asked: at least 30" in mine
        assert "as before, confirmed by a supervisor for this key" in mine

    def test_test_without_practice(self, supervisor: TestClient) -> None:
        assert supervisor.get("/practice/rules/no_such_test").status_code == 404
        there = supervisor.get("/practice/agreement?measure=no_such_test")
        assert there.status_code == 404


class TestAgreement:
    def test_raters_by_the_key_and_together(
        self, supervisor: TestClient, site: Site
    ) -> None:
        with write_session(site.engine) as session:
            for who, offs in (("student", (-50, 50)), ("colleague", (200, 100))):
                practise_well(session, person_by(session, who), key_edition(),
                              offs=offs)  # fmt: skip
        text = page_of(supervisor, f"/practice/agreement?measure={MEASURE}")

        assert "20 trials rated by each of:" in text
        assert "ICC(2,1), absolute agreement of the time:" in text
        assert "On average the same as the key" in text
        assert "On average 0.15 s longer than the key" in text
        assert f"<b>SEM:</b> {sem():.2f} s" in text
        assert text.count("<figure") == 2
        assert "Podsiadlo 1991" in text
        assert "unconfirmed: recalled, not read" in text
        assert "Valid or void: 1.00" in text

    def test_raters_who_never_differ_are_given_no_interval(
        self, supervisor: TestClient, site: Site
    ) -> None:
        with write_session(site.engine) as session:
            for who in ("student", "colleague"):
                practise_well(session, person_by(session, who), key_edition(),
                              offs=(100,))  # fmt: skip
        text = page_of(supervisor, f"/practice/agreement?measure={MEASURE}")

        assert "1.000 (all alike; no interval can be given)" in text
        assert "No MDC95 is told where raters do not differ." in text
        assert "<b>MDC95:</b>" not in text
        assert "All 20 differences were the same, +0.10 s; no limits" in text
        assert "expected between" not in text

    def test_a_constant_difference_is_in_the_error(
        self, supervisor: TestClient, site: Site
    ) -> None:
        """Always 1.00 s apart: the root of 1/2, and 1.96 s."""
        with write_session(site.engine) as session:
            for who, off in (("student", 0), ("colleague", 1000)):
                practise_well(session, person_by(session, who), key_edition(),
                              offs=(off,))  # fmt: skip
        text = page_of(supervisor, f"/practice/agreement?measure={MEASURE}")

        assert "<b>SEM:</b> 0.71 s. <b>MDC95:</b> 1.96 s" in text
        assert "A constant difference between raters is in them" in text

    def test_what_is_not_shared_is_in_no_figure(
        self, supervisor: TestClient, site: Site
    ) -> None:
        give(site, "student", shared=False)
        text = page_of(supervisor, f"/practice/agreement?measure={MEASURE}")

        assert "Nobody has shared a trial of this test yet." in text
        assert "<figure" not in text

    def test_invented_people_are_in_no_real_figure(
        self, supervisor: TestClient, site: Site
    ) -> None:
        with write_session(site.engine) as session:
            other = make_person(session, "invented", role="student", is_demo=True)
            practise_well(session, other, key_edition())
        text = page_of(supervisor, f"/practice/agreement?measure={MEASURE}")

        assert "Invented" not in text
        assert "Nobody has shared" in text


def sem() -> float:
    """Two raters, -50/50 and 200/100 in turn, and how far they are apart on average."""
    found = agreement.error_of(
        [[0.0 + one, 0.0 + other] for one, other in ((-50, 200), (50, 100)) * 10]
    )
    assert found is not None
    return found.sem / 1000
