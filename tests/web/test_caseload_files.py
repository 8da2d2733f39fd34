"""A caseload in and out by page: looked at first, all or none, own world only."""

import io
import threading
import time
import zipfile
from collections.abc import Callable

import httpx2
import pytest
from sqlmodel import col, func, select
from starlette.testclient import TestClient

from app.exports.caseload_columns import PATIENTS, SCORES
from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.patients import Patient
from app.storage.scores import Score
from app.storage.staged import StagedFile
from app.storage.trials import Trial
from app.web import import_jobs, import_pages
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import PASSPHRASE, make_episode, make_patient, make_person

WHO = (
    "label,birth_year,reason,setting,plan,opened_on\n"
    "Green 2,1948,falls,community,restore,2025-02-01\n"
)
SCORED = (
    "label,date,measure,trials,by\n"
    "Green 2,2025-03-01,timed_up_and_go,16.2 s,J\n"
    "Green 2,2025-03-08,timed_up_and_go,14.9 s,J\n"
)
Page = Callable[[str], TestClient]


def look(client: TestClient, *contents: str | bytes, **fields: str) -> httpx2.Response:
    """Send files; what they hold once they were read, or why they were not taken."""
    files = [
        ("file", (f"file{n}.csv", c.encode() if isinstance(c, str) else c))
        for n, c in enumerate(contents)
    ]
    answer = client.post("/caseload/import/check", files=files, data=fields)
    return finished(client) if answer.status_code == 303 else answer


def finished(client: TestClient) -> httpx2.Response:
    """The progress page once the work beside the requests is over."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        answer = client.get("/caseload/import/progress")
        if "hx-trigger" not in answer.text:
            return answer
        time.sleep(0.02)
    raise AssertionError("the import does not end")


def bring_in(client: TestClient, report: httpx2.Response) -> httpx2.Response:
    """Press the report's button; where it leads once all is written."""
    assert found(report.text, 'main form[action="/caseload/import"]')
    assert client.post("/caseload/import").status_code == 303
    return finished(client)


def labels(site: Site) -> list[str]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Patient.label).order_by(col(Patient.id))))


def scores(site: Site) -> int:
    with read_session(site.engine) as session:
        return session.exec(select(func.count(col(Score.id)))).one()


@pytest.mark.parametrize("who", ["therapist", "colleague", "student", "outsider"])
@pytest.mark.parametrize("page", ["import", "export"])
def test_only_supervisors(sign_in_as: Page, who: str, page: str) -> None:
    client = sign_in_as(who)

    assert client.get(f"/caseload/{page}").status_code == 403
    assert client.post(f"/caseload/{page}").status_code == 403
    assert look(client, WHO).status_code == 403


def test_page_describes_every_column(supervisor: TestClient) -> None:
    page = supervisor.get("/caseload/import").text

    assert all(f"<dt>{column}</dt>" in page for column in (*PATIENTS, *SCORES))


def test_looking_writes_nothing(supervisor: TestClient, site: Site) -> None:
    report = look(supervisor, SCORED, WHO)

    assert report.status_code == 200
    assert "3 rows: 3 would add something" in report.text
    assert "adds 1 trial of Timed Up and Go on 1 Mar 2025" in report.text
    assert labels(site) == ["Blue 7"]


def test_what_was_looked_at_is_imported_whole(
    supervisor: TestClient, site: Site
) -> None:
    answer = bring_in(supervisor, look(supervisor, SCORED, WHO))
    page = supervisor.get(answer.headers["location"]).text

    assert answer.status_code == 303
    assert "3 rows added something" in page
    assert labels(site) == ["Blue 7", "Green 2"]
    assert scores(site) == 2


def test_sending_twice_adds_once(supervisor: TestClient, site: Site) -> None:
    report = look(supervisor, WHO, SCORED)
    again = [supervisor.post("/caseload/import").status_code for _ in range(2)]
    first = finished(supervisor)

    assert "3 would add" in report.text
    assert again == [303, 303]
    assert first.headers["location"] == "/caseload/import?added=3"
    assert labels(site).count("Green 2") == 1
    assert scores(site) == 2
    assert "Here already" in look(supervisor, WHO, SCORED).text


def test_text_comes_through_the_form_as_it_was(
    supervisor: TestClient, site: Site
) -> None:
    """A form field would change line ends; the files are sent back as bytes."""
    row = WHO.replace("opened_on\n", "opened_on,precautions\n").replace(
        "2025-02-01\n", '2025-02-01,"oxygen | note two\nlines\r\nZoë ""x"""\n'
    )
    bring_in(supervisor, look(supervisor, row))
    with read_session(site.engine) as session:
        found_note = (
            session.connection()
            .exec_driver_sql("SELECT note FROM precaution")
            .scalar_one()
        )

    assert found_note == 'two\nlines\r\nZoë "x"'


def test_imported_trial_says_where_it_is_from(
    supervisor: TestClient, site: Site
) -> None:
    bring_in(supervisor, look(supervisor, WHO, SCORED))
    with read_session(site.engine) as session:
        round_id = session.exec(select(Trial.round_id)).first()

    assert "16.2 s, from a file" in supervisor.get(f"/rounds/{round_id}").text


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (WHO.replace("1948", "48"), "birth_year"),
        ("name\nX\n", "There is no column"),
        (WHO.encode("utf-16"), "not UTF-8"),
        (b"label\nJos\xe9\n", "not UTF-8"),
        (b"label\nBlue\0\n", "NUL"),
        (b"label\n" + b"x" * 70_000, "too long"),
        ("", "is missing from the first line"),
        (SCORED, "No patient has this label"),
    ],
)
def test_bad_file_is_told_and_adds_nothing(
    supervisor: TestClient, site: Site, content: str | bytes, says: str
) -> None:
    report = look(supervisor, content)

    assert "Cannot be imported yet" in report.text
    assert supervisor.post("/caseload/import").status_code == 303
    assert says in found(report.text, "main").text()
    assert labels(site) == ["Blue 7"]


def test_no_file_is_told(supervisor: TestClient) -> None:
    answer = supervisor.post("/caseload/import/check", data={"x": "1"})

    assert answer.status_code == 422
    assert "Choose patients.csv" in found(answer.text, "#file-error").text()


@pytest.fixture
def few_rows(monkeypatch: pytest.MonkeyPatch) -> int:
    """A limit that does not take minutes to reach."""
    monkeypatch.setattr(import_pages, "MOST_ROWS", 40)
    return 40


def many(count: int) -> str:
    return WHO + "".join(f"G {n},,,,,\n" for n in range(count - 1))


def test_too_many_rows_are_told_the_way(
    supervisor: TestClient, site: Site, few_rows: int
) -> None:
    answer = look(supervisor, many(few_rows + 5))

    assert answer.status_code == 422
    assert "tapeline import" in found(answer.text, "#file-error").text()
    assert labels(site) == ["Blue 7"]


def test_as_many_rows_as_said_are_taken(
    supervisor: TestClient, site: Site, few_rows: int
) -> None:
    report = look(supervisor, many(few_rows))
    bring_in(supervisor, report)

    assert report.status_code == 200
    assert len(labels(site)) == few_rows + 1


def test_limits_are_said_before_a_file_is_chosen(supervisor: TestClient) -> None:
    page = found(supervisor.get("/caseload/import").text, "#file-help").text()

    assert "3,000 rows and 1,024 kilobytes" in page
    assert "tapeline import" in page


def test_file_larger_than_a_form_is_taken(supervisor: TestClient, site: Site) -> None:
    wide = WHO.replace("falls", "f" * 200)
    rows = "".join(f"G {n},1948,{'w' * 190},community,restore,2025-02-01\n"
                   for n in range(1500))  # fmt: skip
    report = look(supervisor, wide + rows)

    assert len(wide + rows) > 300_000
    assert "1,501 rows: 1,501 would add" in report.text
    assert labels(site) == ["Blue 7"]


def test_too_large_a_body_is_refused_there_too(supervisor: TestClient) -> None:
    files = [("file", ("a.csv", b"x" * 1_100_000))]

    assert supervisor.post("/caseload/import/check", files=files).status_code == 413
    form = {"file": "x" * 300_000}
    assert supervisor.post("/desk/table", data=form).status_code == 413


def test_progress_is_shown_and_asks_again(
    supervisor: TestClient, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A job that is at row 1,200 of 4,000."""
    monkeypatch.setattr(import_jobs, "_run", lambda *_told: None)
    files = [("file", ("a.csv", WHO.encode()))]
    supervisor.post("/caseload/import/check", files=files)
    supervisor.get("/caseload/import/progress")
    (job,) = site.jobs.values()
    assert isinstance(job, import_jobs.Job)
    job.done, job.of = 1200, 4000
    page = supervisor.get("/caseload/import/progress").text
    script = {"hx-request": "true"}
    part = supervisor.get("/caseload/import/progress", headers=script).text

    assert "1,200 of 4,000" in page
    assert 'http-equiv="refresh"' in found(page, "noscript").html  # type: ignore[operator]
    assert found(part, "#import").attributes["hx-get"] == "/caseload/import/progress"
    assert "<html" not in part


def test_files_are_seen_by_their_sender_alone(
    supervisor: TestClient, site: Site, sign_in_as: Page
) -> None:
    look(supervisor, WHO)
    with write_session(site.engine) as session:
        make_person(session, "second", role="supervisor")
    other = sign_in_as("second")

    assert "wait here" in supervisor.get("/caseload/import").text
    assert "wait here" not in other.get("/caseload/import").text
    assert other.get("/caseload/import/progress").headers["location"] == (
        "/caseload/import"
    )


def staged(site: Site) -> int:
    with read_session(site.engine) as session:
        return len(session.exec(select(StagedFile)).all())


def test_files_are_wiped_once_used_discarded_or_of_yesterday(
    supervisor: TestClient, site: Site, clock: Clock, sign_in_as: Page
) -> None:
    kept = []
    bring_in(supervisor, look(supervisor, WHO))
    kept.append(staged(site))
    look(supervisor, WHO, SCORED)
    look(supervisor, WHO)
    kept.append(staged(site))
    supervisor.post("/caseload/import/discard")
    kept.append(staged(site))
    look(supervisor, WHO)
    import_jobs.wipe_yesterdays(site)
    kept.append(staged(site))
    clock.move(hours=15)
    import_jobs.wipe_yesterdays(site)
    kept.append(staged(site))

    assert kept == [0, 1, 0, 1, 0]
    assert "wait here" not in sign_in_as("supervisor").get("/caseload/import").text


def test_after_a_restart_the_files_are_looked_at_again(
    supervisor: TestClient, site: Site
) -> None:
    look(supervisor, WHO)
    site.jobs.clear()

    assert "1 would add" in finished(supervisor).text


def test_what_changed_meanwhile_keeps_all_out(
    supervisor: TestClient, site: Site
) -> None:
    """Somebody of that label is added between looking and importing."""
    report = look(supervisor, WHO, SCORED)
    with write_session(site.engine) as session:
        make_patient(session, person_by(session, "therapist"), label="Green 2")
    after = bring_in(supervisor, report)

    assert "Nothing was imported" in after.text
    assert scores(site) == 0
    assert labels(site) == ["Blue 7", "Green 2"]


def test_patients_are_assigned_to_whom_the_page_names(
    supervisor: TestClient, site: Site, outsider: TestClient, therapist: TestClient
) -> None:
    with read_session(site.engine) as session:
        number = person_by(session, "outsider").id
        student = person_by(session, "student").id
    bring_in(supervisor, look(supervisor, WHO, assign_to=str(number)))
    refused = [look(supervisor, WHO, assign_to=str(n)).status_code
               for n in (student, 9999, "x")]  # fmt: skip

    assert "Green 2" in outsider.get("/caseload").text
    assert "Green 2" not in therapist.get("/caseload").text
    assert refused == [404, 404, 404]


def test_others_wait_while_an_import_is_written(
    supervisor: TestClient, therapist: TestClient, site: Site, patient_id: int
) -> None:
    """A save is late, not refused, and a page does not wait at all."""
    site.gate.acquire()
    page = therapist.get("/caseload").status_code
    held = site.gate.locked()
    released: list[bool] = []

    def let_go() -> None:
        released.append(True)
        site.gate.release()

    timer = threading.Timer(0.3, let_go)
    timer.start()
    saved = therapist.post(f"/patients/{patient_id}/visit").status_code

    assert (page, held) == (200, True)
    assert (saved, released) == (303, [True])
    timer.join()
    assert supervisor.get("/desk").status_code == 200


def test_third_file_is_refused(supervisor: TestClient) -> None:
    assert look(supervisor, WHO, SCORED, WHO).status_code == 400


def export(client: TestClient, passphrase: str = PASSPHRASE) -> httpx2.Response:
    return client.post("/caseload/export", data={"passphrase": passphrase})


def members(answer: httpx2.Response) -> dict[str, str]:
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert archive.testzip() is None
        return {
            name: archive.read(name).decode("utf-8-sig") for name in archive.namelist()
        }


def test_export_asks_for_the_passphrase(supervisor: TestClient, site: Site) -> None:
    answer = export(supervisor, "some other five words")

    assert answer.status_code == 422
    assert "not your passphrase" in found(answer.text, "#passphrase-error").text()
    assert exports(site) == 0


def exports(site: Site) -> int:
    with read_session(site.engine) as session:
        wanted = select(func.count(col(AuditEntry.id)))
        return session.exec(wanted.where(AuditEntry.deed == "exported_caseload")).one()


def test_export_holds_both_files_and_is_noted(
    supervisor: TestClient, site: Site
) -> None:
    bring_in(supervisor, look(supervisor, WHO, SCORED))
    answer = export(supervisor)
    files = members(answer)

    assert answer.headers["content-type"] == "application/zip"
    assert "tapeline-caseload-2026-03-02.zip" in answer.headers["content-disposition"]
    assert answer.headers["cache-control"] == "no-store"
    assert list(files) == ["patients.csv", "scores.csv"]
    assert [row.split(",")[0] for row in files["patients.csv"].splitlines()] == [
        "label", "Blue 7", "Green 2",
    ]  # fmt: skip
    assert "16.2 s" in files["scores.csv"]
    assert exports(site) == 1


def test_export_of_the_page_can_be_imported(supervisor: TestClient) -> None:
    bring_in(supervisor, look(supervisor, WHO, SCORED))
    report = look(supervisor, *members(export(supervisor)).values())

    assert "Here already" in report.text


def test_worlds_never_mix(site: Site, sign_in_as: Page, supervisor: TestClient) -> None:
    with write_session(site.engine) as session:
        demo = make_person(session, "invented", role="supervisor", is_demo=True)
        make_episode(session, demo, make_patient(session, demo, label="Planted 1"))
    theirs, ours = members(export(sign_in_as("invented"))), members(export(supervisor))

    assert "Planted 1" in theirs["patients.csv"]
    assert "Blue 7" not in theirs["patients.csv"]
    assert "Planted 1" not in ours["patients.csv"]
    assert "invented patients of a demo" in look(supervisor, *theirs.values()).text
    assert "A demo takes invented" in look(sign_in_as("invented"), *ours.values()).text


def test_label_of_the_other_world_is_nobodys(
    site: Site, supervisor: TestClient
) -> None:
    with write_session(site.engine) as session:
        demo = make_person(session, "invented", role="supervisor", is_demo=True)
        make_episode(session, demo, make_patient(session, demo, label="Green 2"))

    report = look(supervisor, SCORED)
    assert "No patient has this label" in report.text
    assert "3 would add" in look(supervisor, WHO, SCORED).text
