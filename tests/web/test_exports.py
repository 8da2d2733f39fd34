"""Exports by page: who may, what is in them, and what stays out until it is signed."""

import re
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from sqlmodel import Session, col, select
from starlette.testclient import TestClient

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.episodes import Visit, open_episode
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.review import decide, texts_of, write_text
from app.storage.trials import Round, TrialBody
from app.storage.visits import close
from app.web.deps import Site
from app.web.released import Released, released
from tests.asked import queries
from tests.conftest import Clock, found, person_by
from tests.make import PASSPHRASE, make_round, make_set, make_trial, make_visit
from tests.web.test_caseload_files import look, members

SignIn = Callable[[str], TestClient]
#: Tests of three visits: before, by the student, and after. Each time is told apart.
TIMES = {"therapist": 16_240, "student": 33_330, "supervisor": 12_870}
LEFT_OUT = "1 visit of a student and 1 test"


@pytest.fixture
def record(site: Site, clock: Clock, patient_id: int) -> None:
    """Three visits a day apart; the second is a student's, with a set too."""
    with write_session(site.engine) as session:
        patient = session.get_one(Patient, patient_id)
        episode = open_episode(session, patient)
        owner, pupil = person_by(session, "therapist"), person_by(session, "student")
        assign(session, owner, patient, pupil, now=clock())
        for handle, ms in TIMES.items():
            me = person_by(session, handle)
            visit = make_visit(session, me, episode, now=clock())
            walk = make_round(session, me, visit, now=clock())
            make_trial(session, me, walk, TrialBody(raw_ms=ms), now=clock())
            make_set(session, me, visit, now=clock())
            clock.move(days=1)
        cuff = make_round(
            session, owner, make_visit(session, owner, episode),
            measure="orthostatic_vitals", variant="one_and_three",
        )  # fmt: skip
        for when, systolic in (
            ("lying", 142),
            ("standing_1", 118),
            ("standing_3", 120),
        ):
            body = TrialBody(count=systolic, inputs={"when": when, "diastolic": "80"})
            make_trial(session, owner, cuff, body)


def settle(site: Site, decision: str) -> None:
    """Close and hand in the student's visit, and decide on it."""
    with write_session(site.engine) as session:
        pupil, boss = person_by(session, "student"), person_by(session, "supervisor")
        visit = session.exec(select(Visit).where(Visit.person_id == pupil.id)).one()
        close(session, pupil, visit, without_list="called away", now=site.clock())
        said = {"own_words": "", "edition": "e", "version": "v", "now": site.clock()}
        write_text(session, pupil, visit, ["Treatment"], **said)  # type: ignore[arg-type]
        if decision:
            decide(
                session, boss, texts_of(session, visit)[-1], decision,
                statement="I was there.", presence="in_room", minutes=None, checked=[],
                now=site.clock(),
            )  # fmt: skip


def export(client: TestClient, path: str, **said: str) -> dict[str, str]:
    answer = client.post(path, data={"passphrase": PASSPHRASE, **said})
    assert answer.headers["content-type"] == "application/zip"
    return members(answer)


@pytest.mark.usefixtures("record")
@pytest.mark.parametrize(
    ("decision", "held"),
    [(None, False), ("", False), ("returned", False), ("approved", False),
     ("co_signed", True)],
)  # fmt: skip
def test_students_work_stays_out_until_it_is_signed(
    supervisor: TestClient,
    site: Site,
    patient_id: int,
    decision: str | None,
    held: bool,
) -> None:
    """Nor does any reading rest on it: the later change is judged without it."""
    if decision is not None:
        settle(site, decision)
    tables = export(supervisor, "/exports", what="tables")
    alone = export(supervisor, f"/patients/{patient_id}/exports")
    whole = export(supervisor, "/caseload/export")
    bare = export(supervisor, "/exports", what="deidentified")
    page = found(supervisor.get("/exports/left-out").text, "main").text()

    for files in (tables, alone):
        assert [("33.33" in files["trials.csv"]), ("33.33" in files["scores.csv"]),
                ("33.3" in files["readings.csv"])] == [held] * 3  # fmt: skip
        assert "16.24" in files["trials.csv"]
        assert ",12.9,s," in files["readings.csv"]
        assert (LEFT_OUT in files["contents.txt"]) is not held
    assert ("33.33" in whole["scores.csv"]) is held
    assert ("33.33" in bare["trials.csv"]) is held
    assert ("33.3" in bare["scores.csv"]) is held
    assert bare["visits.csv"].count("\r\n") == 1 + 2 + held
    assert bare["sets.csv"].count("\r\n") == 1 + 2 + held
    assert (LEFT_OUT in page) is not held
    assert ("nothing. No student" in page) is held


@pytest.mark.usefixtures("record")
@pytest.mark.parametrize("signed", [False, True])
def test_students_trial_in_a_colleagues_visit_waits_for_their_signature(
    therapist: TestClient, site: Site, clock: Clock, patient_id: int, signed: bool
) -> None:
    """The whole round stays: its score rests on that trial too."""
    with write_session(site.engine) as session:
        owner, pupil = person_by(session, "therapist"), person_by(session, "student")
        round = session.get_one(Round, 1)
        make_trial(session, pupil, round, TrialBody(raw_ms=20_110), now=clock())
        if signed:
            visit = session.get_one(Visit, round.visit_id)
            close(session, owner, visit, without_list="called away", now=clock())
            write_text(session, owner, visit, ["Treatment"], own_words="", edition="e",
                       version="v", now=clock())  # fmt: skip
    files = export(therapist, f"/patients/{patient_id}/exports")

    assert ("20.11" in files["trials.csv"]) is signed
    assert ("16.24" in files["trials.csv"]) is signed
    assert ("1 visit of a student and 2 tests" in files["contents.txt"]) is not signed


@pytest.mark.usefixtures("record")
def test_what_came_after_the_co_signature_waits_for_the_next(
    therapist: TestClient, site: Site, clock: Clock, patient_id: int
) -> None:
    settle(site, "co_signed")
    clock.move(minutes=1)
    with write_session(site.engine) as session:
        make_trial(session, person_by(session, "student"), session.get_one(Round, 2),
                   TrialBody(raw_ms=20_110), now=clock())  # fmt: skip
    files = export(therapist, f"/patients/{patient_id}/exports")

    assert "20.11" not in files["trials.csv"]
    assert "co-signature: 1 test\r" in files["contents.txt"]


@pytest.mark.usefixtures("record")
def test_files_are_known_here_and_counted(
    supervisor: TestClient, therapist: TestClient, patient_id: int
) -> None:
    """By either file: a cuff's readings say their unit, so that they are known too."""
    files = export(therapist, f"/patients/{patient_id}/exports")
    told = files["contents.txt"]
    again = [
        look(supervisor, files[name]).text for name in ("trials.csv", "scores.csv")
    ]
    both = look(supervisor, files["trials.csv"], files["scores.csv"]).text

    assert [*files] == ["trials.csv", "scores.csv", "readings.csv", "contents.txt"]
    assert "trials.csv: 5 rows" in told
    assert "scores.csv: 3 rows" in told
    assert f"readings.csv: {files['readings.csv'].count(chr(13)) - 1} rows" in told
    assert ",142,mmHg," in files["trials.csv"]
    assert all("3 rows: 0 would add something, 3 are here already" in t for t in again)
    assert "would be taken in twice" in both


@pytest.mark.usefixtures("record")
def test_day_offsets_only_when_asked_for(supervisor: TestClient, site: Site) -> None:
    settle(site, "co_signed")
    plain = export(supervisor, "/exports", what="deidentified")["visits.csv"]
    counted = export(supervisor, "/exports", what="deidentified", day_offsets="yes")
    first = date(2026, 3, 2)
    months = [f"{first + timedelta(days=n):%m-%d}" for n in range(3)]

    assert [line.split(",")[2] for line in plain.splitlines()[1:]] == ["2026"] * 3
    assert [line.split(",")[-1] for line in counted["visits.csv"].splitlines()] == [
        "day", "0", "1", "2",
    ]  # fmt: skip
    assert counted["visits.csv"].count("2026") == 1
    assert "DAYS ARE COUNTED" in counted["README.txt"]
    assert not [m for m in months if m in "".join(counted.values())]
    assert "day_offsets" in supervisor.get("/exports").text
    assert (
        found(supervisor.get("/exports").text, "[name=day_offsets]").attributes.get(
            "checked", "off"
        )
        == "off"
    )


def test_page_says_what_may_be_called_what(supervisor: TestClient) -> None:
    page = found(supervisor.get("/exports").text, "main").text()

    assert "identifiable health information" in page
    assert "Only the second archive below may be called de-identified" in page
    assert "0 patients, 0 tests, 0 trials. Without the 18 kinds" in page
    assert "only you can judge it" in page
    assert "1 to 10 people" in page
    assert "1 patient, 0 tests, 0 trials." in page


def test_passphrase_and_choice_are_asked_beside_their_fields(
    supervisor: TestClient, therapist: TestClient, site: Site, patient_id: int
) -> None:
    wrong = {"passphrase": "some other five words", "what": "deidentified",
             "day_offsets": "yes"}  # fmt: skip
    answer = supervisor.post("/exports", data=wrong)
    nothing = supervisor.post("/exports", data={"passphrase": PASSPHRASE})
    alone = therapist.post(f"/patients/{patient_id}/exports", data=wrong)
    export(supervisor, "/exports", what="tables")
    export(supervisor, "/exports", what="deidentified", day_offsets="yes")
    export(therapist, f"/patients/{patient_id}/exports")
    with read_session(site.engine) as session:
        asked = select(AuditEntry.deed).order_by(col(AuditEntry.id))
        deeds = [deed for deed in session.exec(asked) if "export" in deed]

    assert [a.status_code for a in (answer, nothing, alone)] == [422] * 3
    assert "not your passphrase" in found(answer.text, "#passphrase-error").text()
    assert "not your passphrase" in found(alone.text, "#passphrase-error").text()
    assert len(found(answer.text, "main").css("input[checked]")) == 2
    assert "Choose what to export" in found(nothing.text, "#what-error").text()
    assert deeds == [
        "exported_tables", "exported_deidentified_days", "exported_patient",
    ]  # fmt: skip


def test_brief_leads_there_for_who_may(
    therapist: TestClient, student: TestClient, site: Site, patient_id: int
) -> None:
    with write_session(site.engine) as session:
        owner, pupil = person_by(session, "therapist"), person_by(session, "student")
        patient = session.get_one(Patient, patient_id)
        assign(session, owner, patient, pupil, now=site.clock())
    link = f'href="/patients/{patient_id}/exports"'

    assert link in therapist.get(f"/patients/{patient_id}").text
    assert link not in student.get(f"/patients/{patient_id}").text
    assert student.get(f"/patients/{patient_id}/exports").status_code == 403


@pytest.mark.usefixtures("record")
def test_what_is_left_out_is_counted_by_itself_or_when_asked(
    supervisor: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A small site's at once; of a large one numbers end where nobody reads on."""
    htmx = {"HX-Request": "true"}
    small = [supervisor.get(path).text for path in ("/exports", "/caseload/export")]
    counted = supervisor.get("/exports/left-out", headers=htmx).text
    monkeypatch.setattr("app.web.released.MOST", 3)
    large = [supervisor.get(path).text for path in ("/exports", "/caseload/export")]

    for text in small:
        assert found(text, "#left-out").attributes["hx-trigger"] == "load"
        assert "1 patient, 4 tests, 6 trials." in text
    for text in large:
        part = found(text, "#left-out")
        assert "hx-trigger" not in part.attributes
        assert "takes a while" in part.text()
        assert "1 patient, more than 3 trials." in text
        assert found(text, "#left-out a").attributes["href"] == "/exports/left-out"
    assert counted.lstrip().startswith("<section")
    assert counted.count(LEFT_OUT) == 2
    assert "hx-get" not in counted
    for text in (*small, *large, counted):
        assert "counts are all on record" in found(text, "#left-out").text()


@pytest.mark.usefixtures("record")
def test_record_is_looked_through_once_for_both_groups(
    supervisor: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked: list[int] = []

    def noted(session: Session, patient_id: int) -> Released:
        looked.append(patient_id)
        return released(session, patient_id)

    monkeypatch.setattr("app.web.released.released", noted)
    counted = supervisor.get("/exports/left-out").text

    assert counted.count(LEFT_OUT) == 2
    assert len(looked) == len(set(looked)) > 0


@pytest.mark.usefixtures("record")
@pytest.mark.parametrize("path", ["/exports", "/caseload/export"])
def test_page_counts_no_further_than_it_must(
    supervisor: TestClient, site: Site, path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It counts so many at most, and looks through no student's work."""
    monkeypatch.setattr("app.web.released.MOST", 3)
    with queries(site.engine) as all_of_them:
        assert supervisor.get(path).status_code == 200
    asked = [" ".join(q.split()) for q, _values in all_of_them if "trial" in q]

    assert asked
    assert all(re.search(r"LIMIT \S+( OFFSET \S+)?\) AS \w+$", each) for each in asked)
    assert not any("recorded_by" in each for each in asked)
