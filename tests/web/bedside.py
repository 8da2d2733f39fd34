"""Doing a test through the pages, as a phone without script does."""

from uuid import uuid4

import httpx2
from starlette.testclient import TestClient


def begin(
    client: TestClient, patient_id: int, measure: str, **fields: str
) -> httpx2.Response:
    """Post the ready page; a redirect leads to the round."""
    url = f"/patients/{patient_id}/measures/{measure}/ready"
    return client.post(url, data={"uid": uuid4().hex, **fields})


def a_round(client: TestClient, patient_id: int, measure: str, **fields: str) -> str:
    """The address of a new round."""
    answer = begin(client, patient_id, measure, **fields)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def send(client: TestClient, round_url: str, **fields: str) -> httpx2.Response:
    """Post one trial."""
    return client.post(f"{round_url}/trials", data={"uid": uuid4().hex, **fields})


def done(client: TestClient, patient_id: int, measure: str, *typed: str) -> str:
    """A whole round of typed times; the text of its page."""
    url = a_round(client, patient_id, measure)
    for seconds in typed:
        assert send(client, url, typed=seconds).status_code == 303
    return client.get(url).text
