"""A second phone by its requests: who may, what is told, one trial from two phones."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.round_help import LASTS, HelpPress, RoundHelp
from app.storage.trials import Round, Trial
from app.web.deps import Site
from tests.conftest import Clock, person_by
from tests.make import make_round, make_visit, new_uid

HELD = "single_leg_stance"
HELP = "/rounds/1/help"
#: Exchanges with the server that took 20 ms each way, by clocks 3.4 s apart.
OWNERS = {"origin": "1000", "x": "0,20,20,40,5"}
HELPERS = {"origin": "2000", "x": "3400,20,20,3440,5"}

BY_HELPER = {"pressed": {"stop": "helper"}, "by": {"stop": 2}}
#: What a phone says of two, and what is kept: the bound and whether it is doubted.
SAID: list[tuple[object, tuple[float | None, bool] | None]] = [
    (BY_HELPER | {"bound_ms": 20.04}, (20.0, False)),
    (BY_HELPER | {"bound_ms": 100.0}, (100.0, False)),
    (BY_HELPER | {"bound_ms": 100.1}, (100.1, True)),
    (BY_HELPER | {"bound_ms": -5}, (-5.0, True)),
    (BY_HELPER, (None, True)),
    (BY_HELPER | {"by": {"stop": 3}, "bound_ms": 0}, None),
    (BY_HELPER | {"pressed": {"stop": "owner"}, "bound_ms": 0}, None),
    ({"pressed": {"start": "helper"}, "by": {"start": 2}, "bound_ms": 0}, None),
    ({"pressed": {}, "by": {}}, None),
    ("Colleague", None),
]


@pytest.fixture
def owner(
    sign_in_as: Callable[[str], TestClient], site: Site, patient_id: int
) -> TestClient:
    """The therapist, whose round 1 is; the colleague is assigned to the patient too."""
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        assign(session, me, patient, person_by(session, "colleague"), now=site.clock())
        visit = make_visit(session, me, open_episode(session, patient))
        make_round(session, me, visit, measure=HELD)
    return sign_in_as("therapist")


@pytest.fixture
def helper(owner: TestClient, sign_in_as: Callable[[str], TestClient]) -> TestClient:
    """The colleague, who has joined."""
    colleague = sign_in_as("colleague")
    assert owner.post(f"{HELP}/open").headers["location"] == "/rounds/1"
    assert colleague.post(f"{HELP}/join").headers["location"] == HELP
    return colleague


def _press(
    phone: TestClient, trial: str, kind: str, mono: float, clock: dict[str, str]
) -> dict[str, Any]:
    told = {"trial": trial, "kind": kind, "mono": str(mono), "of": clock["origin"]}
    answer = phone.post(f"{HELP}/presses", data=told | clock)
    assert answer.status_code == 200
    said: dict[str, Any] = answer.json()
    return said


def _save(phone: TestClient, uid: str, ms: int, helped: object) -> int:
    clocks = json.dumps({"helped": helped})
    data = {"uid": uid, "raw_ms": str(ms), "clocks": clocks}
    return phone.post("/rounds/1/trials", data=data).status_code


def _ended_by(site: Site, deed: str = "ended_help") -> list[int | None]:
    """Who ended help, by the audit trail; None: it ended by itself."""
    wanted = select(AuditEntry.person_id).where(AuditEntry.deed == deed)
    with read_session(site.engine) as session:
        return list(session.exec(wanted))


def _trials(site: Site) -> list[Trial]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Trial).order_by(col(Trial.place))))


class TestWho:
    def test_brief_and_visit_offer_it_to_colleagues_only(
        self, owner: TestClient, sign_in_as: Callable[[str], TestClient]
    ) -> None:
        colleague = sign_in_as("colleague")
        pages = ["/patients/1", "/visits/1"]
        before = [colleague.get(page).text for page in pages]
        owner.post(f"{HELP}/open")

        assert not any("Help with this test" in text for text in before)
        for page in pages:
            assert "Help with this test" in colleague.get(page).text
            assert "Help with this test" not in owner.get(page).text

    def test_nobody_joins_what_is_not_open(
        self, owner: TestClient, sign_in_as: Callable[[str], TestClient]
    ) -> None:
        colleague, supervisor = sign_in_as("colleague"), sign_in_as("supervisor")
        first = colleague.get(HELP).text
        refused = colleague.post(f"{HELP}/join")
        owner.post(f"{HELP}/open")
        own = owner.post(f"{HELP}/join")
        colleague.post(f"{HELP}/join")
        second = supervisor.post(f"{HELP}/join")

        assert "is not open for a second phone" in first
        assert [refused.status_code, own.status_code, second.status_code] == [403] * 3
        assert "Somebody already helps" in supervisor.get(HELP).text

    @pytest.mark.usefixtures("helper")
    def test_patients_strangers_find_nothing(
        self, sign_in_as: Callable[[str], TestClient]
    ) -> None:
        outsider = sign_in_as("outsider")

        asked = [outsider.get(HELP), outsider.get(f"{HELP}/now")]
        asked += [outsider.post(f"{HELP}/{do}") for do in ("join", "end", "presses")]

        assert {answer.status_code for answer in asked} == {404}

    @pytest.mark.usefixtures("helper")
    def test_supervisor_who_did_not_join_is_told_nothing(
        self, sign_in_as: Callable[[str], TestClient]
    ) -> None:
        supervisor = sign_in_as("supervisor")
        told = {"trial": new_uid(), "kind": "start", "mono": "1", "of": "1"}

        assert supervisor.get(f"{HELP}/now").json() == {"on": False}
        assert supervisor.post(f"{HELP}/presses", data=told).json() == {"on": False}

    def test_owner_sees_who_helps_and_ends_it_with_one_tap(
        self, owner: TestClient, helper: TestClient, site: Site
    ) -> None:
        _press(helper, new_uid(), "start", 3500, HELPERS)
        page = owner.get("/rounds/1").text
        ended = owner.post(f"{HELP}/end")

        assert "Colleague helps on another phone." in page
        assert "js/helping.js" in page
        assert ended.headers["location"] == "/rounds/1"
        assert "js/helping.js" not in owner.get("/rounds/1").text
        assert helper.get(f"{HELP}/now").json() == {"on": False}
        with read_session(site.engine) as session:
            assert session.exec(select(HelpPress)).all() == []
            deeds = session.exec(
                select(AuditEntry.deed).order_by(col(AuditEntry.id))
            ).all()
        assert deeds[-3:] == ["opened_help", "joined_help", "ended_help"]

    def test_help_that_was_left_open_ends_by_itself(
        self,
        helper: TestClient,
        site: Site,
        clock: Clock,
        sign_in_as: Callable[[str], TestClient],
    ) -> None:
        on, opened = helper.get(f"{HELP}/now").json()["on"], clock.now
        clock.move(seconds=LASTS.total_seconds() + 3_600)

        assert (on, sign_in_as("colleague").get(f"{HELP}/now").json()["on"]) == (
            True, False,
        )  # fmt: skip
        sign_in_as("therapist").post(f"{HELP}/open")
        with read_session(site.engine) as session:
            ended = session.exec(select(RoundHelp.ended_at)).all()
        assert ended == [opened + LASTS, None]
        assert (_ended_by(site), _ended_by(site, "saw_help_over")) == ([], [None])

    @pytest.mark.usefixtures("helper")
    def test_score_after_the_help_had_run_out_ends_what_was_left(
        self, site: Site, clock: Clock, sign_in_as: Callable[[str], TestClient]
    ) -> None:
        """It was over four hours after it was opened, not when somebody saw it."""
        opened = clock.now
        clock.move(hours=6)
        owner = sign_in_as("therapist")
        for _ in range(3):
            assert _save(owner, new_uid(), 30_000, None) == 303

        with read_session(site.engine) as session:
            assert session.exec(select(RoundHelp.ended_at)).all() == [opened + LASTS]
        assert _ended_by(site, "saw_help_over") == [None]

    def test_only_a_stopwatch_takes_a_second_phone(
        self, owner: TestClient, site: Site
    ) -> None:
        with write_session(site.engine) as session:
            me = person_by(session, "therapist")
            visit = make_visit(
                session, me, open_episode(session, session.get_one(Patient, 1))
            )
            make_round(session, me, visit, measure="functional_reach")

        assert owner.post("/rounds/2/help/open").status_code == 422
        assert "Second phone" not in owner.get("/rounds/2").text
        assert "Second phone" in owner.get("/rounds/1").text


class TestAnotherDay:
    @pytest.mark.usefixtures("owner")
    def test_test_begun_yesterday_takes_no_second_phone(
        self, clock: Clock, sign_in_as: Callable[[str], TestClient], site: Site
    ) -> None:
        """What is timed today goes to a round of today's."""
        clock.move(days=1)
        owner = sign_in_as("therapist")
        page, refused = owner.get("/rounds/1").text, owner.post(f"{HELP}/open")

        assert "This test was begun on" in page
        assert "Second phone" not in page
        assert refused.status_code == 422
        assert "Start it again today" in refused.text
        with read_session(site.engine) as session:
            assert session.exec(select(RoundHelp)).all() == []

    @pytest.mark.usefixtures("owner")
    @pytest.mark.parametrize("first", ["owner", "helper"])
    def test_trial_after_midnight_keeps_who_pressed_and_is_one(
        self,
        clock: Clock,
        sign_in_as: Callable[[str], TestClient],
        site: Site,
        first: str,
    ) -> None:
        clock.now = clock.now.replace(hour=23, minute=59)
        phones = {"owner": sign_in_as("therapist"), "helper": sign_in_as("colleague")}
        phones["owner"].post(f"{HELP}/open")
        phones["helper"].post(f"{HELP}/join")
        clock.move(minutes=2)
        uid = new_uid()
        _press(phones["helper"], uid, "start", 3_420, HELPERS)
        kept = _press(phones["helper"], uid, "stop", 11_420, HELPERS)["helped"]
        other = phones["helper" if first == "owner" else "owner"]

        assert _save(phones[first], uid, 8_000, kept) == 303
        assert _save(other, uid, 8_350, kept) == 303
        [trial] = _trials(site)
        assert (trial.round_id, trial.raw_ms) == (2, 8_000)
        assert trial.clocks["helped"]["by"] == {"start": 2, "stop": 2}
        assert trial.clocks["helped"]["bound_ms"] == 0
        assert other.get(f"{HELP}/now").json() == {"on": False}
        with read_session(site.engine) as session:
            assert len(session.exec(select(Round)).all()) == 2
            assert session.exec(select(HelpPress)).all() == []


class TestPresses:
    def test_times_are_told_by_the_clock_of_who_asks(
        self, owner: TestClient, helper: TestClient
    ) -> None:
        trial = new_uid()
        there = _press(helper, trial, "start", 3_420, HELPERS)
        here = owner.get(f"{HELP}/now", params=OWNERS).json()

        assert there["start"] == {"side": "helper", "mono": 3_420}
        assert (here["phase"], here["trial"], here["waits"]) == ("running", trial, True)
        assert here["start"]["mono"] == pytest.approx(20)
        assert here["helped"]["bound_ms"] == pytest.approx(40)
        assert here["helped"]["pressed"] == {"start": "helper", "stop": "owner"}
        assert here["doubt"] == ""

    def test_first_stop_counts_and_the_other_is_told(
        self, owner: TestClient, helper: TestClient
    ) -> None:
        trial = new_uid()
        _press(owner, trial, "start", 20, OWNERS)
        said = _press(owner, trial, "stop", 8_020, OWNERS)
        late = _press(helper, trial, "stop", 11_500, HELPERS)

        assert said["stop"] == {"side": "owner", "safe": False, "ran_ms": 8_000}
        assert late["stop"] == said["stop"]
        assert late["late"] == "Already stopped by Therapist."

    def test_same_press_told_twice_is_one(self, helper: TestClient, site: Site) -> None:
        trial = new_uid()
        for _ in range(2):
            _press(helper, trial, "start", 3_420, HELPERS)

        with read_session(site.engine) as session:
            assert len(session.exec(select(HelpPress)).all()) == 1

    def test_clocks_that_agree_badly_are_doubted(
        self, owner: TestClient, helper: TestClient
    ) -> None:
        """No exchange, one of 240 ms, and two that cannot be."""
        doubts = []
        for x in ("", "3400,20,20,3640,5", "1,nan,3,4,5", "4,3,2,1,0"):
            trial = new_uid()
            _press(owner, trial, "start", 20, OWNERS)
            said = _press(helper, trial, "stop", 11_420, HELPERS | {"x": x})
            doubts.append(said["doubt"])

        assert all(said.startswith("Doubtful timing") for said in doubts)
        assert "agree only to +/- 0.15 s" in doubts[1]

    def test_one_phone_is_asked_about_only_where_it_may_have_slept(
        self, helper: TestClient, owner: TestClient
    ) -> None:
        """Compared at both ends; just woken at the stop; its clock stood for 5 s."""
        told = []
        for x, mono in (
            (HELPERS["x"], 11_420),
            ("", 11_420),
            ("0,5020,5020,40,5", 6_420),
        ):
            trial = new_uid()
            _press(helper, trial, "start", 3_420, HELPERS)
            said = _press(helper, trial, "stop", mono, HELPERS | {"x": x})
            told.append(
                (said["stop"]["ran_ms"], said["helped"]["bound_ms"], said["doubt"])
            )
            _press(owner, trial, "clear", 20, OWNERS)

        slept = "Doubtful timing: the phone that timed it may have slept meanwhile."
        assert told == [(8_000, 0, ""), (8_000, None, slept), (11_400, None, slept)]

    def test_broken_press_changes_nothing(self, helper: TestClient, site: Site) -> None:
        told = {"trial": new_uid(), "kind": "start", "mono": "1", "of": "1"} | HELPERS
        broken = [{"kind": "clear"}, {"kind": "x"}, {"mono": "nan"}, {"trial": "1"},
                  {"of": ""}]  # fmt: skip

        answers = [helper.post(f"{HELP}/presses", data=told | bad) for bad in broken]

        assert {answer.status_code for answer in answers} == {422}
        with read_session(site.engine) as session:
            assert session.exec(select(HelpPress)).all() == []


class TestSaving:
    def test_two_phones_save_one_trial(
        self, owner: TestClient, helper: TestClient, site: Site
    ) -> None:
        """The helper's saved it; the owner's comes back and sends the same id."""
        uid = new_uid()
        _press(helper, uid, "start", 3_420, HELPERS)
        kept = _press(helper, uid, "stop", 11_420, HELPERS)["helped"]
        theirs = _save(helper, uid, 8_000, kept)
        said = owner.get(f"{HELP}/now", params=OWNERS).json()
        ours = owner.post(
            "/rounds/1/trials",
            data={"uid": uid, "raw_ms": "8350", "clocks": "{}"},
        )

        assert (theirs, ours.status_code) == (303, 303)
        assert ours.headers["tapeline-saved"] == uid
        assert said["stored"] == "8.0 s"
        [trial] = _trials(site)
        assert trial.raw_ms == 8_000
        assert trial.clocks["helped"]["bound_ms"] == 0
        page = owner.get("/rounds/1").text
        assert "start and stop by helper&#39;s phone: one clock (Colleague)" in page

    def test_somebody_else_still_cannot_take_an_id(
        self, owner: TestClient, helper: TestClient, site: Site
    ) -> None:
        """A trial of the owner's alone, and one whose helper did not save it."""
        uid = new_uid()
        assert _save(owner, uid, 8_000, None) == 303

        assert _save(helper, uid, 8_000, None) == 409
        assert len(_trials(site)) == 1

    @pytest.mark.usefixtures("helper")
    def test_what_a_phone_says_of_two_is_looked_at(
        self, owner: TestClient, site: Site
    ) -> None:
        """Who never held a phone is not said to have pressed; the time is kept."""
        for said, _ in SAID:
            assert _save(owner, new_uid(), 8_000, said) == 303

        trials = _trials(site)
        assert [trial.raw_ms for trial in trials] == [8_000] * len(SAID)
        kept = [trial.clocks.get("helped") for trial in trials]
        told = [found and (found["bound_ms"], found["doubtful"]) for found in kept]
        assert told == [wanted for _, wanted in SAID]

    @pytest.mark.parametrize("locked", [False, True])
    def test_round_that_is_done_ends_the_help(
        self, owner: TestClient, helper: TestClient, site: Site, locked: bool
    ) -> None:
        _press(helper, new_uid(), "start", 3_420, HELPERS)
        if locked:
            owner.post("/lock")
        for _ in range(3):
            assert _save(owner, new_uid(), 30_000, None) == (200 if locked else 303)

        assert helper.get(f"{HELP}/now").json() == {"on": False}
        assert _ended_by(site) == [None]
        with read_session(site.engine) as session:
            assert session.exec(select(HelpPress)).all() == []


class TestLocked:
    def test_locked_phones_hear_the_clock_and_nobodys_name(
        self, owner: TestClient, helper: TestClient
    ) -> None:
        trial = new_uid()
        _press(owner, trial, "start", 20, OWNERS)
        helper.post("/lock")
        heard = helper.get(f"{HELP}/now", params=HELPERS)
        _press(owner, trial, "stop", 8_020, OWNERS)
        late = _press(helper, trial, "stop", 11_500, HELPERS)
        assert _save(owner, trial, 8_000, None) == 303
        stored = helper.get(f"{HELP}/now", params=HELPERS)

        assert (heard.status_code, heard.json()["phase"]) == (200, "running")
        assert late["stop"]["side"] == "owner"
        assert late["late"] == "Already stopped by the other phone."
        assert stored.json()["stored"] == "the trial"
        for said in (heard.text, json.dumps(late), stored.text):
            assert "Therapist" not in said
            assert "Colleague" not in said
            assert "8.0 s" not in said

    def test_open_page_of_a_helper_does_not_hold_the_lock_back(
        self, helper: TestClient, clock: Clock
    ) -> None:
        """It asks each second, here each minute; the trial goes on all the same."""
        for _ in range(7):
            clock.move(minutes=1)
            assert helper.get(f"{HELP}/now", params=HELPERS).json()["on"]

        assert helper.get("/caseload").status_code == 423
        assert _press(helper, new_uid(), "start", 3_420, HELPERS)["phase"] == "running"
