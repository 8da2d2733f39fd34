"""Treat and plan pages as a phone without script meets them."""

from datetime import timedelta
from typing import Any

from selectolax.lexbor import LexborHTMLParser, LexborNode
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.activity_sets import SetBody, record_set
from app.storage.database import write_session
from app.storage.episodes import Visit, open_episode
from app.storage.patients import Patient
from app.storage.precautions import PrecautionOnEpisode, end_precaution
from app.storage.responsible import assign
from app.web.deps import Site
from tests.conftest import person_by
from tests.make import TODAY, make_precaution, make_visit, new_uid

CLEAN: dict[str, Any] = {
    "reps": 99,
    "errors": 0,
    "hand_support": "none",
    "no_symptom": True,
}


def in_force(site: Site, patient_id: int, *tags: str) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        for tag in tags:
            make_precaution(session, owner, episode, tag)


def lifted(site: Site, *tags: str) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        for row in session.exec(select(PrecautionOnEpisode)).all():
            if row.tag in tags and row.ended_on is None:
                end_precaution(session, owner, row, on=TODAY, now=site.clock())


def on_the_list(site: Site, patient_id: int, handle: str = "student") -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        assign(session, owner, patient, person_by(session, handle), now=site.clock())


def did(site: Site, patient_id: int, key: str, grade: str, *, days_ago: int) -> None:
    """Two clean sets of an activity, some days ago."""
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        at = site.clock() - timedelta(days=days_ago)
        visit: Visit = make_visit(session, owner, episode, now=at)
        for _ in range(2):
            record_set(
                session, owner, visit, key, uid=new_uid(),
                body=SetBody(grade=grade, **CLEAN), at=at, now=at,
            )  # fmt: skip


def treat(client: TestClient, patient_id: int, query: str = "") -> LexborHTMLParser:
    answer = client.get(f"/patients/{patient_id}/treat{query}")
    assert answer.status_code == 200, answer.text
    return LexborHTMLParser(answer.text)


def plan(client: TestClient, patient_id: int, query: str = "") -> LexborHTMLParser:
    answer = client.get(f"/patients/{patient_id}/plan{query}")
    assert answer.status_code == 200, answer.text
    return LexborHTMLParser(answer.text)


def add(client: TestClient, patient_id: int, key: str, **said: str) -> int:
    """Ask for an activity in the plan; the status that came back."""
    url = f"/patients/{patient_id}/plan/add"
    return client.post(url, data={"activity": key, **said}).status_code


def chosen(client: TestClient, patient_id: int) -> list[str]:
    """What is planned and may be done, in order."""
    rows = plan(client, patient_id).css("ol.planned > li")
    return [row.attributes["id"] or "" for row in rows]


def line(page: LexborHTMLParser, key: str) -> LexborNode:
    node = page.css_first(f"li#{key}")
    assert node is not None, f"no {key}"
    return node


def words(node: LexborNode | LexborHTMLParser) -> str:
    return " ".join(node.text().split())
