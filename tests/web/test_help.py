"""Help: every page with a menu has its topic, and the keys are those of the script."""

import re
import tomllib
from datetime import datetime
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.resources import folder
from app.web.help_topics import keyboard, releases, topics
from tests.conftest import found

TEMPLATES = folder("templates")
#: Seen before anybody is signed in, or when nothing can be helped.
WITHOUT = {f"sign_in/{n}.html" for n in ("join", "demo", "form", "setup", "lock")}
WITHOUT |= {"error.html"}


def pages() -> set[str]:
    """Every template that is a page of its own."""
    files = TEMPLATES.rglob("*.html")
    return {
        f"{f.relative_to(TEMPLATES)}" for f in files if "{% extends" in f.read_text()
    }


def test_every_page_has_one_topic_and_every_topic_its_pages() -> None:
    named = [screen for topic in topics().values() for screen in topic.screens]

    assert sorted(named) == sorted(pages() - WITHOUT)
    assert len(pages()) > 80


def test_texts_are_short() -> None:
    for topic in topics().values():
        words = " ".join(topic.text).split()

        assert 10 <= len(words) <= 110, topic.id
        assert all(line.endswith((".", "?")) for line in topic.text), topic.id


def test_keys_of_the_stopwatch_are_those_of_the_script() -> None:
    script = (folder("static") / "js/keys.js").read_text()
    lists = {
        name: re.findall(r'"([^"]+)"', inside)
        for name, inside in re.findall(r"const (TAP|SPLIT|OWN) = \[(.*?)\]", script)
    }
    start, split = (k for k in keyboard() if k.where == "Stopwatch")

    assert sorted(start.press) == sorted(
        lists["TAP"] + [key.replace(" ", "Space") for key in lists["OWN"] if key]
    )
    assert sorted(split.press) == sorted(lists["SPLIT"])


def test_newest_change_is_this_version() -> None:
    project = Path(__file__).parents[2] / "pyproject.toml"
    read = tomllib.loads(project.read_text())

    assert releases()[0].version == read["project"]["version"]
    days = [datetime.strptime(r.day, "%d %b %Y") for r in releases()]
    assert days == sorted(days, reverse=True)


def test_page_carries_its_help_and_what_runs(
    therapist: TestClient, app: FastAPI
) -> None:
    page = found(therapist.get("/kit").text, "footer.edition")

    assert topics()["kit"].text[0] in page.text()
    assert app.state.site.version in page.text()
    assert app.state.site.catalogue.edition in page.text()


@pytest.mark.parametrize("path", ["/help", "/help/changes", "/help/round"])
def test_links_of_the_help_lead_somewhere(therapist: TestClient, path: str) -> None:
    page = therapist.get(path)

    assert page.status_code == 200
    for link in re.findall(r'href="(/help[^"#]*)"', page.text):
        assert therapist.get(link).status_code == 200, link


def test_no_such_topic(therapist: TestClient) -> None:
    assert therapist.get("/help/nonsense").status_code == 404
