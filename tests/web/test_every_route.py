"""Every address of the site asked by every member of the cast.

A new route without a row here fails the suite, and so does a row without a route.
"""

import re
from collections.abc import Callable

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.storage.activity_sets import SetBody
from app.storage.database import write_session
from app.storage.episodes import open_episode
from app.storage.observations import TaskObservation, record
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.review import write_text
from app.storage.round_help import open_help
from app.storage.trials import TrialBody
from app.storage.visits import close
from app.web.deps import Site
from tests.conftest import person_by
from tests.make import (
    make_attempt,
    make_goal,
    make_home_sheet,
    make_person,
    make_precaution,
    make_room_change,
    make_room_measure,
    make_round,
    make_service,
    make_set,
    make_showing,
    make_teaching,
    make_trial,
    make_visit,
    new_uid,
)
from tests.web.test_security import addresses

#: Who asks, in the order of a row's letters. The patient is the therapist's; the
#: assistant is assigned too; the invented therapist belongs to the demo world.
CAST = ("nobody", "invented", "outsider", "student", "assistant", "colleague",
        "therapist", "supervisor")  # fmt: skip
#: `s` sent to sign in, `n` not found, `f` refused, `y` let through (which an empty form
#: may still be refused by its fields). One letter for each of the cast.
EVERYBODY, SIGNED_IN, NOT_HERE = "yyyyyyyy", "syyyyyyy", "nnnnnnnn"
BEDSIDE, JUDGEMENT, OVERSIGHT = "snnnynyy", "snnnfnyy", "snnnfnfy"
SUPERVISOR = "sffffffy"
OF_PATIENT = "/patients/{patient_id}"
ROWS: dict[tuple[str, str], str] = {
    ("GET", "/"): EVERYBODY,
    ("GET", "/bedside"): EVERYBODY,
    ("GET", "/healthz"): EVERYBODY,
    ("GET", "/sign-in"): EVERYBODY,
    ("POST", "/sign-in"): EVERYBODY,
    ("POST", "/sign-out"): EVERYBODY,
    ("GET", "/sw.js"): EVERYBODY,
    ("GET", "/demo"): NOT_HERE,
    ("POST", "/demo/enter"): NOT_HERE,
    ("GET", "/set-up/{token}"): NOT_HERE,
    ("POST", "/set-up/{token}"): NOT_HERE,
    ("GET", "/join/{token}"): NOT_HERE,
    ("POST", "/join/{token}"): NOT_HERE,
    ("GET", "/pair/{token}"): NOT_HERE,
    ("POST", "/pair/{token}"): NOT_HERE,
    ("GET", "/trust"): NOT_HERE,
    ("GET", "/trust/tapeline-authority.crt"): NOT_HERE,
    ("GET", "/trust/tapeline-authority.pem"): NOT_HERE,
    ("GET", "/account"): SIGNED_IN,
    ("GET", "/account/pair"): SIGNED_IN,
    ("POST", "/account/pair"): SIGNED_IN,
    ("GET", "/account/phone"): SIGNED_IN,
    ("POST", "/account/phone"): SIGNED_IN,
    ("GET", "/activities/tools"): SIGNED_IN,
    ("GET", "/help"): SIGNED_IN,
    ("GET", "/help/changes"): SIGNED_IN,
    ("GET", "/help/{topic}"): SIGNED_IN,
    ("GET", "/kit"): SIGNED_IN,
    ("GET", "/kit/scale"): SIGNED_IN,
    ("GET", "/measures/{measure_id}/sources"): SIGNED_IN,
    ("GET", "/practice"): SIGNED_IN,
    ("GET", "/practice/{case}/{trial}"): SIGNED_IN,
    ("GET", "/practice/next"): SIGNED_IN,
    ("GET", "/practice/progress"): SIGNED_IN,
    ("GET", "/practice/agreement"): SUPERVISOR,
    ("GET", "/practice/rules/{measure_id}"): SUPERVISOR,
    ("POST", "/practice/rules/{measure_id}"): SUPERVISOR,
    ("POST", "/practice/rules/{measure_id}/as-before"): SUPERVISOR,
    ("GET", "/practice/people/{person_id}"): SUPERVISOR,
    # An empty form names no test.
    ("POST", "/practice/people/{person_id}/sign-off"): "sffffffn",
    ("POST", "/practice/people/{person_id}/list"): SUPERVISOR,
    # Nobody has been signed off.
    ("POST", "/practice/sign-offs/{sign_off_id}/withdraw"): "sffffffn",
    ("POST", "/practice/{case}/{trial}"): SIGNED_IN,
    # An empty form names no test.
    ("POST", "/practice/share"): "snnnnnnn",
    ("GET", "/practice/checks/new"): SUPERVISOR,
    ("POST", "/practice/checks/new"): SUPERVISOR,
    # Nobody has been asked to do one.
    ("GET", "/practice/checks/{check_id}"): "snnnnnnn",
    ("POST", "/practice/checks/{check_id}"): "snnnnnnn",
    # Showing and attempt are the therapist's own, and not shared.
    ("GET", "/practice/showings/{showing_id}"): "snnnnnyn",
    ("POST", "/practice/showings/{showing_id}/attempt"): "snnnnnyn",
    ("GET", "/practice/attempts/{attempt_id}"): "snnnnnyn",
    ("POST", "/practice/attempts/{attempt_id}/share"): "snnnnnyn",
    ("GET", "/activities"): SIGNED_IN,
    ("POST", "/activities"): SIGNED_IN,
    ("GET", "/activities/evidence"): SIGNED_IN,
    ("GET", "/activities/{aid}"): SIGNED_IN,
    ("POST", "/account/passphrase"): SIGNED_IN,
    ("POST", "/account/pin"): SIGNED_IN,
    ("POST", "/account/sign-ins/end-others"): SIGNED_IN,
    # The first sign-in is the invented one's own.
    ("POST", "/account/sign-ins/{sign_in_id}/end"): "synnnnnn",
    ("POST", "/account/devices/{device_id}/remove"): "snnnnnnn",
    ("GET", "/desk"): SUPERVISOR,
    ("GET", "/desk/table"): SUPERVISOR,
    ("POST", "/desk/table"): SUPERVISOR,
    ("GET", "/desk/summary"): SUPERVISOR,
    ("POST", "/desk/views/{view_id}/drop"): "sffffffn",
    ("GET", "/people"): SUPERVISOR,
    ("GET", "/people/new"): SUPERVISOR,
    ("POST", "/people/new"): SUPERVISOR,
    ("GET", "/people/{person_id}"): SUPERVISOR,
    ("POST", "/people/{person_id}"): SUPERVISOR,
    ("POST", "/people/{person_id}/active"): SUPERVISOR,
    ("POST", "/people/{person_id}/link"): SUPERVISOR,
    ("POST", "/people/{person_id}/sign-ins/end"): SUPERVISOR,
    # Nobody has a phone.
    ("POST", "/people/{person_id}/devices/{device_id}/remove"): "sffffffn",
    ("GET", "/services"): SUPERVISOR,
    ("POST", "/services"): SUPERVISOR,
    ("POST", "/services/{service_id}"): SUPERVISOR,
    ("GET", "/audit"): SUPERVISOR,
    ("POST", "/audit/check"): SUPERVISOR,
    ("GET", "/caseload/import"): SUPERVISOR,
    ("POST", "/caseload/import"): SUPERVISOR,
    ("POST", "/caseload/import/check"): SUPERVISOR,
    ("GET", "/caseload/import/progress"): SUPERVISOR,
    ("POST", "/caseload/import/discard"): SUPERVISOR,
    ("GET", "/caseload/export"): SUPERVISOR,
    ("POST", "/caseload/export"): SUPERVISOR,
    ("GET", OF_PATIENT + "/fhir"): JUDGEMENT,
    ("POST", OF_PATIENT + "/fhir"): JUDGEMENT,
    ("GET", "/exports"): SUPERVISOR,
    ("GET", "/exports/left-out"): SUPERVISOR,
    ("POST", "/exports"): SUPERVISOR,
    ("GET", OF_PATIENT + "/exports"): JUDGEMENT,
    ("POST", OF_PATIENT + "/exports"): JUDGEMENT,
    ("GET", "/session"): SIGNED_IN,
    ("POST", "/lock"): SIGNED_IN,
    ("POST", "/unlock"): SIGNED_IN,
    ("GET", "/held"): SIGNED_IN,
    ("POST", "/held/{held_id}/discard"): SIGNED_IN,
    ("GET", "/caseload"): SIGNED_IN,
    ("GET", "/caseload/arrange"): SIGNED_IN,
    ("POST", "/caseload/arrange"): SIGNED_IN,
    ("POST", "/caseload/today"): SIGNED_IN,
    ("GET", "/home"): SIGNED_IN,
    # Off until the site asks for it; tests/web/test_pack.py has it on.
    ("GET", "/pack"): "snnnnnnn",
    ("POST", "/pack"): "snnnnnnn",
    ("GET", "/review"): SIGNED_IN,
    ("GET", "/visits/{visit_id}/notes/{note}"): BEDSIDE,
    # The visit is the therapist's own; a supervisor words with them.
    ("POST", "/visits/{visit_id}/notes/{note}"): "snnnfnyy",
    ("POST", "/visits/{visit_id}/notes/{note}/sign"): "snnnfnyf",
    ("POST", "/visits/{visit_id}/notes/{note}/addenda"): BEDSIDE,
    ("GET", "/visits/{visit_id}/notes/{note}/text"): BEDSIDE,
    ("GET", "/visits/{visit_id}/review"): BEDSIDE,
    ("POST", "/review/{text_id}/comments"): OVERSIGHT,
    ("POST", "/review/{text_id}/decision"): OVERSIGHT,
    ("POST", "/episodes/{episode_id}/clocks/{kind}"): JUDGEMENT,
    ("GET", "/bedside/attach"): SIGNED_IN,
    ("POST", "/bedside/attach"): SIGNED_IN,
    ("GET", "/patients/new"): "syyffyyy",
    ("POST", "/patients/new"): "syyffyyy",
    ("GET", "/patients/find"): SIGNED_IN,
    ("POST", "/patients/find"): SIGNED_IN,
    ("GET", "/cover"): "syyfyyyf",
    ("POST", "/cover"): "syyfyyyf",
    ("POST", "/cover/{cover_id}/end"): "snnnnnnn",
    ("GET", OF_PATIENT + "/edit"): BEDSIDE,
    ("POST", OF_PATIENT + "/edit"): BEDSIDE,
    ("GET", OF_PATIENT + "/profile"): BEDSIDE,
    ("POST", OF_PATIENT + "/profile"): BEDSIDE,
    ("GET", OF_PATIENT + "/precautions"): BEDSIDE,
    ("POST", OF_PATIENT + "/precautions"): BEDSIDE,
    ("POST", "/precautions/{precaution_id}/change"): JUDGEMENT,
    ("POST", "/precautions/{precaution_id}/end"): JUDGEMENT,
    ("GET", OF_PATIENT + "/episodes"): JUDGEMENT,
    ("POST", OF_PATIENT + "/episodes"): JUDGEMENT,
    ("POST", "/episodes/{episode_id}/close"): JUDGEMENT,
    ("POST", "/episodes/{episode_id}/reopen"): JUDGEMENT,
    ("GET", OF_PATIENT + "/people"): JUDGEMENT,
    ("POST", OF_PATIENT + "/people"): JUDGEMENT,
    ("POST", OF_PATIENT + "/people/{person_id}/off"): JUDGEMENT,
    ("GET", OF_PATIENT + "/episodes/{episode_id}/picture"): BEDSIDE,
    ("GET", OF_PATIENT + "/record"): JUDGEMENT,
    ("POST", OF_PATIENT + "/record"): JUDGEMENT,
    ("POST", OF_PATIENT + "/fold"): OVERSIGHT,
    ("POST", OF_PATIENT + "/purge"): OVERSIGHT,
    ("POST", OF_PATIENT + "/visit"): BEDSIDE,
    ("GET", OF_PATIENT + "/visits"): BEDSIDE,
    ("GET", OF_PATIENT + "/doses"): BEDSIDE,
    ("GET", "/visits/{visit_id}"): BEDSIDE,
    ("GET", "/visits/{visit_id}/picture"): BEDSIDE,
    ("POST", "/visits/{visit_id}/looked"): OVERSIGHT,
    ("POST", "/visits/{visit_id}/{part}"): BEDSIDE,
    ("GET", "/visits/{visit_id}/teaching"): BEDSIDE,
    ("POST", "/visits/{visit_id}/teaching"): BEDSIDE,
    ("POST", "/teaching/{teaching_id}/void"): BEDSIDE,
    ("GET", "/visits/{visit_id}/hand-off/{to}"): BEDSIDE,
    ("POST", "/visits/{visit_id}/hand-off/{to}"): BEDSIDE,
    ("POST", "/visits/{visit_id}/tasks/{task_id}/code"): BEDSIDE,
    ("POST", "/visits/{visit_id}/tasks/{task_id}/void"): BEDSIDE,
    ("GET", OF_PATIENT + "/rooms"): BEDSIDE,
    ("POST", OF_PATIENT + "/rooms"): BEDSIDE,
    ("GET", OF_PATIENT + "/rooms/ramp"): BEDSIDE,
    ("POST", OF_PATIENT + "/rooms/changes"): BEDSIDE,
    ("POST", "/room-changes/{change_id}/state"): BEDSIDE,
    ("POST", "/room-measures/{room_measure_id}/void"): BEDSIDE,
    ("GET", OF_PATIENT): BEDSIDE,
    ("GET", OF_PATIENT + "/measures"): BEDSIDE,
    ("POST", OF_PATIENT + "/measures"): BEDSIDE,
    ("GET", OF_PATIENT + "/measures/{measure_id}"): BEDSIDE,
    ("POST", OF_PATIENT + "/measures/{measure_id}/not-done"): BEDSIDE,
    ("GET", OF_PATIENT + "/measures/{measure_id}/ready"): BEDSIDE,
    ("POST", OF_PATIENT + "/measures/{measure_id}/ready"): BEDSIDE,
    ("GET", OF_PATIENT + "/home-sheet"): BEDSIDE,
    ("POST", OF_PATIENT + "/home-sheet"): BEDSIDE,
    ("GET", "/home-sheets/{sheet_id}"): BEDSIDE,
    ("POST", "/home-sheets/{sheet_id}/end"): BEDSIDE,
    ("GET", OF_PATIENT + "/goals"): BEDSIDE,
    ("GET", OF_PATIENT + "/goals/new"): BEDSIDE,
    ("POST", OF_PATIENT + "/goals/new"): BEDSIDE,
    ("POST", OF_PATIENT + "/goals/preview"): BEDSIDE,
    ("GET", OF_PATIENT + "/goals/scale"): BEDSIDE,
    ("GET", "/goals/{goal_id}"): BEDSIDE,
    ("GET", "/goals/{goal_id}/edit"): BEDSIDE,
    ("POST", "/goals/{goal_id}/edit"): BEDSIDE,
    ("POST", "/goals/{goal_id}/words"): BEDSIDE,
    ("POST", "/goals/{goal_id}/close"): BEDSIDE,
    ("POST", "/goals/{goal_id}/sign"): JUDGEMENT,
    ("POST", "/goals/{goal_id}/scale"): JUDGEMENT,
    ("POST", "/goals/{goal_id}/level"): JUDGEMENT,
    ("GET", OF_PATIENT + "/pathways"): BEDSIDE,
    ("GET", OF_PATIENT + "/pathways/{pathway_id}"): BEDSIDE,
    ("POST", OF_PATIENT + "/pathways/{pathway_id}"): BEDSIDE,
    ("GET", OF_PATIENT + "/deficits"): BEDSIDE,
    ("POST", OF_PATIENT + "/deficits"): BEDSIDE,
    ("GET", OF_PATIENT + "/treat"): BEDSIDE,
    ("POST", OF_PATIENT + "/treat"): BEDSIDE,
    ("POST", OF_PATIENT + "/treat/search"): BEDSIDE,
    ("POST", OF_PATIENT + "/treat/favourite"): BEDSIDE,
    ("GET", OF_PATIENT + "/plan"): BEDSIDE,
    ("POST", OF_PATIENT + "/plan"): BEDSIDE,
    ("POST", OF_PATIENT + "/plan/add"): BEDSIDE,
    ("POST", OF_PATIENT + "/plan/copy"): BEDSIDE,
    ("GET", "/rounds/{round_id}"): BEDSIDE,
    ("POST", "/rounds/{round_id}/trials"): BEDSIDE,
    ("POST", "/rounds/{round_id}/chance"): BEDSIDE,
    ("GET", "/rounds/{round_id}/help"): BEDSIDE,
    # The round is the therapist's own; the assistant takes the second phone first.
    ("POST", "/rounds/{round_id}/help/open"): "snnnfnyf",
    ("POST", "/rounds/{round_id}/help/join"): "snnnynff",
    # Once the therapist has ended it there is nothing to refuse the supervisor.
    ("POST", "/rounds/{round_id}/help/end"): "snnnfnyy",
    ("GET", "/rounds/{round_id}/help/now"): BEDSIDE,
    ("POST", "/rounds/{round_id}/help/presses"): BEDSIDE,
    ("POST", "/trials/{trial_id}/void"): BEDSIDE,
    ("GET", OF_PATIENT + "/activities/{activity_id}"): BEDSIDE,
    ("POST", OF_PATIENT + "/activities/{activity_id}/sets"): BEDSIDE,
    ("POST", "/sets/{set_id}/void"): BEDSIDE,
    ("GET", "/sets/{set_id}/safety"): BEDSIDE,
    ("POST", "/sets/{set_id}/safety"): BEDSIDE,
    ("POST", "/sets/{set_id}/seen"): "snnnfnyy",
    ("GET", "/trials/{trial_id}/safety"): BEDSIDE,
    ("POST", "/trials/{trial_id}/safety"): BEDSIDE,
    ("POST", "/trials/{trial_id}/seen"): "snnnfnyy",
    ("GET", "/practice/scoring"): SIGNED_IN,
    ("POST", "/practice/scoring"): SIGNED_IN,
    # The first exercise is the therapist's own: nobody else is told of it.
    ("GET", "/practice/scoring/{showing_id}"): "snnnnnyn",
    ("POST", "/practice/scoring/{showing_id}"): "snnnnnyn",
}
#: What stands in a path for each name in it.
IN_PATH = {
    "topic": "round",
    "patient_id": "1",
    "round_id": "1",
    "trial_id": "1",
    "activity_id": "T01",
    "set_id": "1",
    "measure_id": "timed_up_and_go",
    "pathway_id": "cdc",
    "goal_id": "1",
    "aid": "S01",
    "held_id": "1",
    "person_id": "1",
    "episode_id": "1",
    "precaution_id": "1",
    "cover_id": "1",
    "visit_id": "1",
    "part": "symptoms",
    "task_id": "1",
    "sheet_id": "1",
    "service_id": "1",
    "sign_off_id": "1",
    "view_id": "1",
    "text_id": "1",
    "kind": "report",
    "note": "visit",
    "sign_in_id": "1",
    "device_id": "1",
    "change_id": "1",
    "room_measure_id": "1",
    "teaching_id": "1",
    "to": "nursing",
    "check_id": "1",
    "case": "stands_older",
    "trial": "1",
    "showing_id": "1",
    "attempt_id": "1",
    "token": "x" * 32,
}


@pytest.fixture
def world(site: Site, patient_id: int) -> None:
    make_world(site, patient_id)


def make_world(site: Site, patient_id: int) -> None:
    """One of everything an address may name, each with the number 1."""
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        assistant = make_person(session, "assistant", role="assistant")
        make_person(session, "invented", is_demo=True)
        patient = session.get_one(Patient, patient_id)
        assign(session, owner, patient, assistant, now=site.clock())
        visit = make_visit(session, owner, open_episode(session, patient))
        make_precaution(session, owner, open_episode(session, patient))
        record(
            session,
            owner,
            visit,
            TaskObservation,
            {"task": "kitchen", "level": "stand_by"},
            uid=new_uid(),
            now=site.clock(),
        )
        make_room_measure(session, owner, visit)
        make_teaching(session, owner, visit)
        make_room_change(session, owner, visit)
        close(session, owner, visit, without_list="called away", now=site.clock())
        write_text(
            session,
            owner,
            visit,
            ["Treatment"],
            own_words="",
            edition="e",
            version="v",
            now=site.clock(),
        )
        round = make_round(session, owner, visit)
        make_trial(session, owner, round, TrialBody(outcome="stopped"))
        open_help(session, owner, round.id, site.clock())
        make_set(session, owner, visit, SetBody(outcome="stopped"))
        make_home_sheet(session, owner, open_episode(session, patient))
        make_goal(session, owner, open_episode(session, patient))
        make_service(session, person_by(session, "supervisor"))
        make_showing(session, owner)
        make_attempt(session, owner)


def filled(path: str) -> str:
    return re.sub(r"\{(\w+)(?::\w+)?\}", lambda found: IN_PATH[found[1]], path)


def letter(client: TestClient, method: str, path: str) -> str:
    answer = client.request(method, filled(path))
    if answer.headers.get("location", "").startswith("/sign-in"):
        return "s" if path != "/sign-out" else "y"
    letters = {401: "s", 403: "f", 404: "n"}
    return letters.get(answer.status_code, "y" if answer.status_code < 500 else "!")


@pytest.mark.usefixtures("world")
@pytest.mark.parametrize(("asked", "row"), ROWS.items(), ids=lambda v: str(v))
def test_who_gets_what(
    client: TestClient,
    sign_in_as: Callable[[str], TestClient],
    asked: tuple[str, str],
    row: str,
) -> None:
    """In the order of the cast: who changes something comes last."""
    browsers = [client, *(sign_in_as(who) for who in CAST[1:])]

    found = "".join(letter(browser, *asked) for browser in browsers)

    assert found == row, f"{asked}: {' '.join(CAST)}"


def test_every_route_has_its_row(app: FastAPI) -> None:
    assert set(addresses(app.routes)) - {("GET", "/static")} == set(ROWS)
