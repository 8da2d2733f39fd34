"""What holds of every page and every form that the site shows to anybody.

The pages are those of `test_every_route.make_world`: an address with a page and no row
there fails that file.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from selectolax.lexbor import LexborHTMLParser, LexborNode
from sqlalchemy import event
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage import people
from app.storage.database import write_session
from app.web import deps
from tests.conftest import DATABASE, Clock, client_of, person_by, running
from tests.web.test_every_route import ROWS, make_world
from tests.web.test_hostile import FORM, shown, undone

#: By who is shown them, and by address.
Pages = dict[str, dict[str, str]]
#: Asked for by what stands in another field, or by another button of the form.
ONLY_THEN = {
    "/goals/1/edit": {"by_date", "kind", "task", "term", "who"},  # or shown as it grows
    "/goals/1/close": {"close_reason"},  # not where the target was reached
    "/patients/1/home-sheet": {"helper", "home_change"},  # or looked at first
    "/practice/scoring": {"level"},  # one is chosen already
}
#: Days as people do not read them: as a computer writes them, or with a whole month.
MONTHS = (
    "January|February|March|April|June|July|August|September|October|November|December"
)
ISO = r"\b(?:19|20)\d\d-\d\d-\d\d\b"
OTHER_DAYS = re.compile(rf"{ISO}|\b\d{{1,2}} (?:{MONTHS})\b")
#: They tell how a day is typed.
ABOUT_TYPING = re.compile(r"[Yy]ear-month-day|a year-month like|YYYY-MM-DD")


class Browsers(dict[str, TestClient]):
    """By handle, signed in, on one site where everything has a row; what they ask."""

    asked: set[str]


@pytest.fixture(scope="module")
def browsers(
    tmp_path_factory: pytest.TempPathFactory, built_database: Path
) -> Iterator[Browsers]:
    data, clock = tmp_path_factory.mktemp("pages"), Clock()
    (data / DATABASE).write_bytes(built_database.read_bytes())
    settings = Settings(data_dir=data, site_timezone="UTC", idle_minutes=0)
    with running(settings, clock) as app:
        make_world(app.state.site, 1)
        made = Browsers()
        made.asked = set()
        event.listen(
            app.state.site.engine,
            "before_cursor_execute",
            lambda _c, _u, statement, *_: made.asked.add(statement),
        )
        for who in ("therapist", "supervisor", "student"):
            made[who] = client_of(app)
            with write_session(app.state.site.engine) as session:
                me = person_by(session, who)
                token = people.start_sign_in(session, me, clock())
            made[who].cookies.set("tapeline", token, domain="localhost.local")
        yield made


@pytest.fixture(scope="module")
def pages(browsers: Browsers) -> Pages:
    every = {path for _, path in ROWS}
    return {who: shown(browser, every) for who, browser in browsers.items()}


def visible(html: str) -> str:
    """The words of a page, without what is typed into and what is said of typing."""
    page = LexborHTMLParser(html)
    page.strip_tags(["script", "style", "textarea", "code", "template"])
    for help in page.css("p, li, td, dd"):
        if ABOUT_TYPING.search(help.text()):
            help.decompose()
    body = page.body
    return body.text(separator=" ") if body else ""


def test_days_have_one_form(pages: Pages) -> None:
    """`3 Mar 2026`, since no country reads another day into a month by its name."""
    found = {
        f"{address}: {day}"
        for theirs in pages.values()
        for address, html in theirs.items()
        if address != "/caseload/import"  # it tells how files are written
        for day in OTHER_DAYS.findall(visible(html))
    }
    mine = " ".join(visible(html) for html in pages["therapist"].values())

    assert sorted(found) == []
    assert re.search(r"\b2 Mar 2026\b", mine)


#: The staff, and whom one of them covers: small however many trials there are.
SMALL = {"person", "cover"}
SET = r"[\w.]+ IN \(SELECT (?:DISTINCT )?(\w+)\."


def test_no_growing_set_is_asked_beside_an_or(browsers: Browsers, pages: Pages) -> None:
    """PostgreSQL may look through all of it for each row; IN alone is a join."""
    assert len(pages) == 3
    beside = re.compile(rf"\bOR {SET}|{SET}(?:(?!\(SELECT)[^)])*\) OR\b")
    found = {
        (table, statement)
        for statement in browsers.asked
        for pair in beside.findall(re.sub(r"\s+", " ", statement))
        for table in pair
        if table and table not in SMALL
    }

    assert len(browsers.asked) > 200
    assert sorted(found) == []
    assert beside.search("WHERE a.b = ? OR visit.id IN (SELECT round.visit_id FROM")
    assert beside.search("WHERE visit.id IN (SELECT round.id FROM round) OR a.b = ?")


def form_nodes(html: str, address: str) -> Iterator[tuple[str, LexborNode]]:
    for form in LexborHTMLParser(html).css("form"):
        if (form.attributes.get("method") or "").lower() == "post":
            action = (form.attributes.get("action") or address).partition("#")[0]
            yield action.partition("?")[0], form


def names(of: list[LexborNode]) -> set[str]:
    return {node.attributes.get("name") or "" for node in of} - {""}


def test_what_may_not_stay_empty_is_marked_so(
    browsers: Browsers, pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each form sent empty: refused is what it marks as needed, and nothing else."""
    monkeypatch.setattr(deps, "write_session", undone)
    unmarked, not_needed, asked = set(), set(), 0
    for who, theirs in pages.items():
        for address, html in theirs.items():
            for action, form in form_nodes(html, address):
                if action in ("/sign-out", "/lock"):
                    continue
                marked = names(form.css("[required]"))
                kept = {
                    n.attributes["name"] or "": n.attributes.get("value") or ""
                    for n in form.css("input[type=hidden]")
                    if n.attributes.get("name")
                }
                answer = browsers[who].post(action, data=kept, headers=FORM)
                asked += 1
                wrong = names(LexborHTMLParser(answer.text).css("[aria-invalid]"))
                offered = names(form.css("input, select, textarea"))
                for name in (wrong & offered) - marked - ONLY_THEN.get(action, set()):
                    unmarked.add(f"{action}: {name}")
                if answer.status_code < 400 and marked:
                    not_needed.add(f"{action}: {sorted(marked)}")

    assert asked > 100
    assert (sorted(unmarked), sorted(not_needed)) == ([], [])
