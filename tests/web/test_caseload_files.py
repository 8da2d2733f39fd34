"""A caseload in and out by page: looked at first, all or none, own world only."""

import io
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
from app.storage.trials import Trial
from app.web import caseload_files
from app.web.deps import Site
from tests.conftest import found
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


def look(client: TestClient, *contents: str | bytes) -> httpx2.Response:
    files = [
        ("file", (f"file{n}.csv", c.encode() if isinstance(c, str) else c))
        for n, c in enumerate(contents)
    ]
    return client.post("/caseload/import/check", files=files)


def bring_in(client: TestClient, report: httpx2.Response) -> httpx2.Response:
    """Send the report's own form."""
    nodes = found(report.text, "main form").css("input")
    pairs = [(n.attributes["name"] or "", n.attributes["value"] or "") for n in nodes]
    sent = [(name, (None, value)) for name, value in pairs]
    return client.post("/caseload/import", files=sent)


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
    assert "adds 1 trial of Timed Up and Go on 2025-03-01" in report.text
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
    first, second = (bring_in(supervisor, report) for _ in range(2))

    assert first.headers["location"] == "/caseload/import?added=3"
    assert second.headers["location"] == "/caseload/import?added=0"
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

    assert report.status_code == 422
    assert says in found(report.text, "main").text()
    assert labels(site) == ["Blue 7"]


def test_no_file_is_told(supervisor: TestClient) -> None:
    answer = supervisor.post("/caseload/import/check", data={"x": "1"})

    assert answer.status_code == 422
    assert "Choose patients.csv" in found(answer.text, "#file-error").text()


def test_too_many_rows_are_told_the_way(supervisor: TestClient, site: Site) -> None:
    rows = "".join(f"G {n},,,,,\n" for n in range(caseload_files.MOST_ROWS + 5))
    answer = look(supervisor, WHO + rows)

    assert answer.status_code == 422
    assert "tapeline import" in found(answer.text, "#file-error").text()
    assert labels(site) == ["Blue 7"]


def test_as_many_rows_as_said_are_taken(supervisor: TestClient, site: Site) -> None:
    rows = "".join(f"G {n},,,,,\n" for n in range(caseload_files.MOST_ROWS - 1))
    report = look(supervisor, WHO + rows)
    bring_in(supervisor, report)

    assert report.status_code == 200
    assert len(labels(site)) == caseload_files.MOST_ROWS + 1


def test_damaged_form_is_told(supervisor: TestClient, site: Site) -> None:
    for sent in (
        {"name": "x", "content": "%%"},
        {"name": "x"},
        {"name": "x", "content": "é"},
    ):
        assert supervisor.post("/caseload/import", data=sent).status_code == 422
    assert supervisor.post("/caseload/import").status_code == 422
    assert labels(site) == ["Blue 7"]


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
