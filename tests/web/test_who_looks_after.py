"""Handing over, covering, finding, folding, archiving, deleting for good."""

from collections.abc import Callable

import pytest
from sqlalchemy import text
from sqlmodel import select
from starlette.testclient import TestClient

from app.clinical.vocabulary import PURGES
from app.storage import audit
from app.storage.database import read_session, write_session
from app.storage.patients import Patient, PatientDetails
from app.storage.scores import Score
from app.storage.tables import Table
from app.storage.trials import Trial
from app.web.audit_words import DEEDS
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import (
    PASSPHRASE,
    make_episode,
    make_patient,
    make_person,
    make_round,
    make_visit,
)
from tests.web.bedside import a_round, done, send

SignIn = Callable[[str], TestClient]
STANDS = "five_times_sit_to_stand"


def id_of(site: Site, handle: str) -> str:
    with read_session(site.engine) as session:
        return str(person_by(session, handle).id)


def hand_over(client: TestClient, site: Site, to: str, what: str = "transfer") -> int:
    said = {"person": id_of(site, to), "note": "moved to ward 3", "what": what}
    return client.post("/patients/1/people", data=said).status_code


def test_handed_over_is_theirs_and_no_longer_mine(
    therapist: TestClient, colleague: TestClient, site: Site, patient_id: int
) -> None:
    assert hand_over(therapist, site, "colleague") == 303

    assert therapist.get(f"/patients/{patient_id}").status_code == 404
    assert colleague.get(f"/patients/{patient_id}").status_code == 200
    assert "moved to ward 3" in colleague.get(f"/patients/{patient_id}/people").text


def test_student_is_added_and_taken_off(
    therapist: TestClient, student: TestClient, site: Site, patient_id: int
) -> None:
    assert hand_over(therapist, site, "student", "add") == 303
    seen = student.get(f"/patients/{patient_id}").status_code
    off = therapist.post(f"/patients/1/people/{id_of(site, 'student')}/off")

    assert (seen, off.status_code) == (200, 303)
    assert student.get(f"/patients/{patient_id}").status_code == 404


def test_patient_is_left_to_nobody(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    mine = id_of(site, "therapist")
    alone = therapist.post(f"/patients/{patient_id}/people/{mine}/off")

    assert alone.status_code == 422
    assert hand_over(therapist, site, "student") == 403
    assert therapist.get(f"/patients/{patient_id}").status_code == 200


@pytest.mark.parametrize("said", [{}, {"person": "1"}, {"note": "x"}, {"person": "0"}])
def test_handing_over_says_to_whom_and_why(
    therapist: TestClient, said: dict[str, str]
) -> None:
    answer = therapist.post("/patients/1/people", data={"what": "transfer", **said})

    assert answer.status_code == 422
    assert found(answer.text, ".error").text()


def test_refused_hand_over_keeps_what_was_typed(
    therapist: TestClient, site: Site
) -> None:
    to = id_of(site, "colleague")
    url = "/patients/1/people"
    bare = therapist.post(url, data={"what": "transfer", "note": "moved to ward 3"})
    long = {"what": "transfer", "person": to, "note": "x" * 201}
    told = therapist.post(url, data=long).text

    assert found(bare.text, "#note-transfer").attributes["value"] == "moved to ward 3"
    assert found(bare.text, "#note-add").attributes["value"] == ""
    assert found(told, "#person-transfer [selected]").attributes["value"] == to
    assert found(told, "#note-transfer").attributes["value"] == "x" * 201


def cover(client: TestClient, site: Site, **said: str) -> int:
    given = {
        "person": id_of(site, "therapist"), "reason": "away", "last_day": "2026-03-03",
        **said,
    }  # fmt: skip
    return client.post("/cover", data=given).status_code


def test_who_covers_sees_and_records_until_the_day_ends(
    colleague: TestClient, sign_in_as: SignIn, site: Site, clock: Clock, patient_id: int
) -> None:
    before = colleague.get(f"/patients/{patient_id}").status_code
    assert cover(colleague, site) == 303
    assert cover(colleague, site) == 303  # a double tap
    brief = colleague.get(f"/patients/{patient_id}").text
    listed = colleague.get("/caseload").text
    done(colleague, patient_id, STANDS, "16.2")
    rows = colleague.get("/cover").text.count("You cover for Therapist")
    clock.move(days=1, hours=14)
    last = sign_in_as("colleague").get(f"/patients/{patient_id}").status_code
    clock.move(hours=2)
    after = sign_in_as("colleague").get(f"/patients/{patient_id}").status_code

    assert (before, last, after) == (404, 200, 404)
    assert "You cover for Therapist" in found(brief, ".caution").text()
    assert "Blue 7" in listed
    assert rows == 1
    with read_session(site.engine) as session:
        deeds = [e.deed for e in session.exec(select(audit.AuditEntry))]
    assert deeds.count("began_cover") == 1


def test_cover_ends_when_it_is_ended(
    colleague: TestClient, site: Site, patient_id: int
) -> None:
    cover(colleague, site)
    assert colleague.post("/cover/1/end").status_code == 303
    assert colleague.get(f"/patients/{patient_id}").status_code == 404


@pytest.mark.parametrize(
    "said",
    [
        {"reason": ""},
        {"last_day": "2026-03-01"},
        {"last_day": "2026-03-16"},
        {"last_day": "tomorrow"},
        {"person": ""},
    ],
)
def test_cover_says_whom_why_and_how_long(
    colleague: TestClient, site: Site, patient_id: int, said: dict[str, str]
) -> None:
    assert cover(colleague, site, **said) == 422
    assert colleague.get(f"/patients/{patient_id}").status_code == 404


def test_student_never_covers(student: TestClient, site: Site) -> None:
    assert cover(student, site) == 403


def test_cover_never_reaches_the_other_world(colleague: TestClient, site: Site) -> None:
    with write_session(site.engine) as session:
        demo = make_person(session, "demo", is_demo=True)
        number = str(demo.id)

    assert cover(colleague, site, person=number) == 404


def find(client: TestClient, **said: str) -> str:
    answer = client.post("/patients/find", data=said)
    assert answer.status_code == 200
    return answer.text


def test_found_by_words_of_the_label_among_ones_own(
    therapist: TestClient, outsider: TestClient, site: Site
) -> None:
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        for label in ("Amber Heron", "Amber Vole", "100 % Oak"):
            make_patient(session, me, label=label)
    both = find(therapist, words="amber")
    one = find(therapist, words="VOLE amber")

    assert both.count('class="person"') == 2
    assert "Amber Vole" in one
    assert one.count('class="person"') == 1
    assert find(therapist, words="100 %").count('class="person"') == 1
    assert find(therapist, words="%").count('class="person"') == 1
    assert "Nobody you may see" in find(outsider, words="amber")
    assert 'value="amber"' in both


def test_found_by_whether_something_is_due(
    sign_in_as: SignIn, site: Site, clock: Clock, patient_id: int
) -> None:
    therapist = sign_in_as("therapist")
    done(therapist, patient_id, STANDS, "16.2")
    with write_session(site.engine) as session:
        make_patient(session, person_by(session, "therapist"), label="Blue 8")
    early = find(therapist, words="Blue", due="due")
    clock.move(days=60)
    therapist = sign_in_as("therapist")
    due, rest, everybody = (
        [node.text() for node in found(page, "main").css(".person b")]
        for page in (
            find(therapist, words="Blue", due="due"),
            find(therapist, words="Blue", due="not_due"),
            find(therapist, words="Blue", due="never"),
        )
    )

    assert "Nobody you may see" in early
    assert (due, rest, everybody) == (["Blue 7"], ["Blue 8"], ["Blue 7", "Blue 8"])


def test_archived_are_found_only_when_asked_for(
    supervisor: TestClient, patient_id: int
) -> None:
    supervisor.post(
        f"/patients/{patient_id}/record", data={"deed": "archive", "version": "1"}
    )

    assert "Nobody you may see" in find(supervisor, words="Blue")
    assert "archived" in find(supervisor, words="Blue", archived="yes")
    assert "Blue 7" not in supervisor.get("/caseload").text


def test_record_is_changed_on_the_version_seen(
    therapist: TestClient, patient_id: int
) -> None:
    url = f"/patients/{patient_id}/record"
    stale = therapist.post(url, data={"deed": "close", "version": "7"})
    closed = therapist.post(url, data={"deed": "close", "version": "1"})
    back = therapist.post(url, data={"deed": "reopen", "version": "2"})
    archived = therapist.post(url, data={"deed": "archive", "version": "3"})

    assert stale.status_code == 409
    assert (closed.status_code, back.status_code) == (303, 303)
    assert archived.status_code == 409  # not theirs to do


@pytest.fixture
def twin(site: Site, patient_id: int) -> int:
    """The colleague has the same person under another label."""
    assert patient_id == 1
    with write_session(site.engine) as session:
        colleague = person_by(session, "colleague")
        patient = make_patient(session, colleague, label="Red 9")
        make_episode(session, colleague, patient)
        return patient.id


def test_folded_record_moves_everything_and_leads_to_the_kept_one(
    twin: int,
    therapist: TestClient,
    colleague: TestClient,
    supervisor: TestClient,
    patient_id: int,
    site: Site,
) -> None:
    done(therapist, patient_id, STANDS, "16.2")
    done(colleague, twin, STANDS, "12.1")
    url = f"/patients/{patient_id}/fold"
    looked = supervisor.post(url, data={"label": "Red 9"})
    before = supervisor.get(f"/patients/{twin}").status_code
    unsure = supervisor.post(url, data={"label": "Red 9", "sure": "yes"})
    kept = {"label": "Red 9", "sure": "yes", "keep": "this"}
    folded = supervisor.post(url, data=kept)
    again = supervisor.post(url, data=kept)
    with read_session(site.engine) as session:
        scores = session.exec(select(Score)).all()

    assert "two records" in looked.text
    assert before == 200
    assert unsure.status_code == 422
    assert found(unsure.text, "#keep-error").text()
    assert folded.status_code == 303
    assert again.status_code == 422
    assert {s.patient_id for s in scores} == {patient_id}
    moved = supervisor.get(f"/patients/{twin}")
    assert moved.headers["location"] == f"/patients/{patient_id}"
    assert colleague.get(f"/patients/{patient_id}").status_code == 200
    assert "12.1" in therapist.get(f"/patients/{patient_id}").text


def test_the_other_record_may_be_the_one_that_stays(
    twin: int, therapist: TestClient, supervisor: TestClient, patient_id: int
) -> None:
    url = f"/patients/{patient_id}/fold"
    kept = {"label": "Red 9", "sure": "yes", "keep": "other"}
    folded = supervisor.post(url, data=kept)
    left = supervisor.get(f"/patients/{patient_id}")

    assert folded.headers["location"] == f"/patients/{twin}"
    assert left.headers["location"] == f"/patients/{twin}"
    assert "Red 9" in therapist.get(f"/patients/{twin}").text


def test_two_births_are_pointed_at_before_folding(
    supervisor: TestClient, patient_id: int, site: Site
) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        for label, year in (("Red 1", 1948), ("Red 2", 1960), ("Red 3", None)):
            said = PatientDetails(label, birth_year=year, sex="female")
            make_patient(session, owner, said)
    url = f"/patients/{patient_id}/fold"
    same, older, unknown = (
        supervisor.post(url, data={"label": label}).text
        for label in ("Red 1", "Red 2", "Red 3")
    )

    assert "Born differs" in found(older, ".caution").text()
    assert "caution" not in same
    assert "caution" not in unknown


def test_folding_needs_another_label(supervisor: TestClient, patient_id: int) -> None:
    for label in ("", "Nobody", "Blue 7"):
        answer = supervisor.post(f"/patients/{patient_id}/fold", data={"label": label})
        assert answer.status_code == 422


def rows_of(site: Site) -> dict[str, int]:
    with read_session(site.engine) as session:
        run = session.connection().execute
        return {
            name: run(text(f'SELECT count(*) FROM "{name}"')).scalar_one()
            for name in Table.metadata.tables
        }


def test_purge_leaves_no_row_of_the_patient_and_a_sound_site(
    twin: int,
    therapist: TestClient,
    supervisor: TestClient,
    patient_id: int,
    site: Site,
) -> None:
    before = rows_of(site)
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, outcome="stopped")
    done(therapist, patient_id, "timed_up_and_go", "13.2")
    therapist.post("/trials/1/safety", data={"what": "fell", "head_strike": "yes"})
    therapist.post(
        "/patients/1/precautions", data={"tag": "ttwb_le", "set_by": "surgeon"}
    )
    therapist.post("/patients/1/profile", data={"matters": "baking", "version": "0"})
    purge = f"/patients/{patient_id}/purge"
    why = "kept_long_enough"
    sure = {"typed_label": "Blue 7", "passphrase": PASSPHRASE, "why": why}
    early = supervisor.post(purge, data=sure)
    supervisor.post("/patients/1/record", data={"deed": "archive", "version": "1"})
    unsure = supervisor.post(purge, data=sure | {"typed_label": "blue"})
    unknown = supervisor.post(purge, data=sure | {"passphrase": "wrong"})
    bare = supervisor.post(purge, data=sure | {"why": "she died"})
    gone = supervisor.post(purge, data=sure)

    assert early.status_code == 409
    assert (unsure.status_code, unknown.status_code) == (422, 422)
    assert bare.status_code == 422
    assert found(bare.text, "#why-error").text()
    assert gone.status_code == 303
    assert supervisor.get(f"/patients/{patient_id}").status_code == 404
    after = rows_of(site)
    left = {n for n in after if after[n] > before[n]}
    assert left <= {"audit_entry", "sign_in", "guess_wait", "number_mark"}
    assert after["patient"] == 1
    with read_session(site.engine) as session:
        assert audit.verify(session) is None
        run = session.connection().exec_driver_sql
        assert run("PRAGMA foreign_key_check").all() == []
        assert session.exec(select(Trial)).all() == []
        assert session.get(Patient, twin) is not None


def test_purge_is_told_by_its_reason_and_nothing_else(
    supervisor: TestClient,
) -> None:
    supervisor.post("/patients/1/record", data={"deed": "archive", "version": "1"})
    sure = {"typed_label": "Blue 7", "passphrase": PASSPHRASE, "why": "asked_for"}
    assert supervisor.post("/patients/1/purge", data=sure).status_code == 303
    trail = found(supervisor.get("/audit").text, ".trail").text()

    assert "purged a patient: it was asked for" in trail
    assert "Blue 7" not in trail


def test_every_reason_to_purge_has_its_words() -> None:
    assert {f"purged_{why}" for why in PURGES} <= set(DEEDS)


def test_number_of_somebody_deleted_is_never_given_again(
    therapist: TestClient, supervisor: TestClient, patient_id: int, site: Site
) -> None:
    """Else an old audit entry, or a trial that waits on a phone, finds the next one."""
    url = a_round(therapist, patient_id, STANDS)
    supervisor.post("/patients/1/record", data={"deed": "archive", "version": "1"})
    sure = {"typed_label": "Blue 7", "passphrase": PASSPHRASE, "why": "for_practice"}
    assert supervisor.post("/patients/1/purge", data=sure).status_code == 303
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = make_patient(session, owner, label="Red 9")
        episode = make_episode(session, owner, patient)
        round = make_round(session, owner, make_visit(session, owner, episode))
        second = make_patient(session, owner, label="Red 10")
    late = send(therapist, url, typed="12.1")
    trail = found(supervisor.get("/audit").text, ".trail")
    links = {a.attributes["href"] for a in trail.css("a")}

    assert (patient.id, second.id, episode.id, round.id) == (2, 3, 2, 2)
    assert late.status_code == 404
    assert "/patients/2" in links
    assert "/patients/1" not in links


def test_full_identifiers_show_on_the_brief_alone(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    site.settings = site.settings.model_copy(update={"identifiers": "full"})
    said = {
        "label": "Blue 7", "birth_year": "1948", "version": "1",
        "full_name": "Invented Person", "record_number": "X-1",
    }  # fmt: skip
    therapist.post(f"/patients/{patient_id}/edit", data=said)
    elsewhere = [
        therapist.get(p).text for p in ("/caseload", f"/patients/{patient_id}/measures")
    ]

    assert "Invented Person" in therapist.get(f"/patients/{patient_id}").text
    assert not any("Invented Person" in page for page in elsewhere)
