"""Practice pages: the key comes after the attempt, once, and to its owner alone."""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from httpx2 import Response
from selectolax.lexbor import LexborHTMLParser
from sqlalchemy import func
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.practice.case import Key
from app.practice.faults import kinds_of
from app.practice.make_safe import safe_from
from app.storage.database import read_session, write_session
from app.storage.practice import PracticeAttempt, PracticeShowing
from app.storage.tables import Table
from app.web.deps import Site
from app.web.practice_book import book, timeline_of
from tests.conftest import found, person_by
from tests.make import new_uid
from tests.make_practice import draw_next

STANDS, COUNTS, REACH = "stands_older", "half_minute_older", "reach_older"
#: A hand is laid on in one of its trials.
STOPPED = "one_leg_stroke"
NUMBER = re.compile(r"(?<![\d-])\d+")
Planned = Callable[[str, str], int]
BY_SCRIPT = {"hx-request": "true", "hx-request-type": "partial"}


@pytest.fixture
def planned(monkeypatch: pytest.MonkeyPatch) -> Planned:
    """A trial of a case whose showings have this fault alone; empty for none."""

    def of(case: str, kind: str) -> int:
        kinds = (kind,) if kind else ()
        return draw_next(monkeypatch, book().cases[case], *kinds)

    return of


def begin(client: TestClient, case: str, trial: int, way: str = "watch") -> str:
    answer = client.post(
        f"/practice/{case}/{trial}",
        data={"uid": new_uid(), "way": way},
        headers=BY_SCRIPT if way == "watch" else {},
    )
    assert answer.status_code == (200 if way == "watch" else 303)
    return answer.text


def latest(site: Site) -> tuple[int, Key]:
    """The newest showing's number and its key."""
    with read_session(site.engine) as session:
        wanted = select(PracticeShowing).order_by(col(PracticeShowing.id).desc())
        showing = session.exec(wanted).first()
        assert showing is not None
        return showing.id, timeline_of(showing).key


def seed_of(site: Site) -> str:
    with read_session(site.engine) as session:
        wanted = select(PracticeShowing.seed).order_by(col(PracticeShowing.id).desc())
        return str(session.exec(wanted).first())


def said_as(key: Key, **other: object) -> dict[str, object]:
    """A form that says what the key says, but for `other`."""
    return {
        "start_ms": str(key.start_ms),
        "stop_ms": str(key.stop_ms),
        "splits_ms": "[]",
        "fault": [fault.kind for fault in key.faults],
        "valid": "yes" if key.valid else "no",
        "count": "" if key.count is None else str(key.count),
        "distance": "" if key.distance is None else str(key.distance),
        **other,
    }


def stopped_at(ms: int, **other: object) -> dict[str, object]:
    """A form of a practised stop: nothing was timed."""
    return {
        "way": "watched", "made_safe": "yes", "safe_ms": str(ms), "valid": "no", **other
    }  # fmt: skip


def send(client: TestClient, showing: int, said: dict[str, object]) -> str:
    answer = client.post(f"/practice/showings/{showing}/attempt", data=said)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def attempts(site: Site) -> list[PracticeAttempt]:
    with read_session(site.engine) as session:
        rows = list(session.exec(select(PracticeAttempt)))
        session.expunge_all()
    return rows


@pytest.mark.parametrize("case", sorted(book().cases))
def test_key_is_not_in_the_page_before_the_attempt(
    student: TestClient, site: Site, case: str
) -> None:
    """No instant of the key, and no fault but in the closed list, none of it ticked."""
    for plan in book().cases[case].trials:
        before = student.get(f"/practice/{case}/{plan.number}").text
        html = begin(student, case, plan.number)
        told = [instants_in(html, latest(site)[1])]
        while told[-1] and len(told) < 3:  # a point of the figure may be that number
            told.append(instants_in(begin(student, case, plan.number), latest(site)[1]))

        assert len(html) > 5_000, "the figure is in it"
        assert seed_of(site) not in html, "who has the seed makes the key"
        assert told[-1] == set(), f"trial {plan.number}"
        for rule in kinds_of(book().cases[case].measure):
            assert html.count(rule.kind) == 1, rule.kind
            assert rule.kind not in before
            assert rule.rule not in html
        assert "checked" not in html


def instants_in(html: str, key: Key) -> set[int]:
    """Which instants of the key stand in a page, as such or as its time."""
    instants = {key.start_ms, key.stop_ms, *key.splits, key.stop_ms - key.start_ms}
    instants |= {fault.at_ms for fault in key.faults}
    return {i for i in instants if i > 400} & {int(n) for n in NUMBER.findall(html)}


def test_a_leak_would_be_seen() -> None:
    key = Key(3_100, 14_300, splits=(5_000,))

    assert instants_in('<p data-key="[3100,5000]">14300</p>', key) == {
        3_100, 5_000, 14_300,
    }  # fmt: skip
    assert instants_in('<p data-figure="[-3100,310,143000]"></p>', key) == set()


def test_trial_in_words_names_no_fault(
    student: TestClient, site: Site, planned: Planned
) -> None:
    trial = planned(STANDS, "arms_used")
    begin(student, STANDS, trial, way="words")
    showing, key = latest(site)
    html = student.get(f"/practice/showings/{showing}").text

    assert [fault.kind for fault in key.faults] == ["arms_used"]
    assert html.count("arms_used") == 1
    assert "checked" not in html


def test_ignoring_arm_use_is_told(
    student: TestClient, site: Site, planned: Planned
) -> None:
    """A robot that times well and never looks at the arms."""
    begin(student, STANDS, planned(STANDS, "arms_used"))
    showing, key = latest(site)
    page = student.get(send(student, showing, said_as(key, fault=[]))).text
    missed = found(page, "[data-fault=missed]").text()

    assert "You missed" in missed
    assert "The arms helped in getting up" in missed
    assert "chart the arms as used" in missed
    assert "this test's sheet" in missed


def test_faults_that_were_seen_and_not_there(
    student: TestClient, site: Site, planned: Planned
) -> None:
    begin(student, STANDS, planned(STANDS, "arms_used"))
    showing, key = latest(site)
    said = said_as(key, fault=["arms_used", "not_upright"], valid="no")
    page = student.get(send(student, showing, said)).text

    assert "The arms helped" in found(page, "[data-fault=seen]").text()
    assert "not straight" in found(page, "[data-fault=not_there]").text()
    assert "You said that it does not. By the key: It counts." in page
    assert 'data-fault="missed"' not in page


def test_start_and_stop_are_told_with_sign_and_unit(
    student: TestClient, site: Site, planned: Planned
) -> None:
    begin(student, STANDS, planned(STANDS, ""))
    showing, key = latest(site)
    said = said_as(key, start_ms=str(key.start_ms + 150), stop_ms=str(key.stop_ms - 90))
    page = student.get(send(student, showing, said)).text
    table = found(page, "tbody").text(separator=" ")

    assert "0.15 s late" in table
    assert "0.09 s early" in table
    assert "0.24 s too short" in table
    assert "Nothing did, and you said so." in page


def test_splits_are_told_beside_the_key(student: TestClient, site: Site) -> None:
    case = next(
        c.id
        for c in book().cases.values()
        if site.catalogue.measures[c.measure].splits and c.measure != COUNTS
    )
    begin(student, case, 1)
    showing, key = latest(site)
    marked = [at - key.start_ms + 40 for at in key.splits[:-1]]
    page = student.get(send(student, showing, said_as(key, splits_ms=str(marked)))).text

    assert page.count("0.04 s late") == len(marked)
    assert "not marked" in page
    begin(student, case, 1)
    showing, other = latest(site)
    early = [at - other.start_ms - 70 for at in other.splits[1:]]
    page = student.get(
        send(student, showing, said_as(other, splits_ms=str(early)))
    ).text
    assert page.count("0.07 s early") == len(early)


def test_count_and_distance_beside_the_key(
    student: TestClient, site: Site, planned: Planned
) -> None:
    begin(student, COUNTS, planned(COUNTS, ""))
    showing, key = latest(site)
    assert key.count is not None
    page = student.get(send(student, showing, said_as(key, count=key.count + 2))).text
    assert "2 too many" in page

    begin(student, REACH, planned(REACH, ""))
    showing, key = latest(site)
    said = said_as(key, start_ms="", stop_ms="")
    page = student.get(send(student, showing, said)).text
    assert key.distance is not None
    assert f"{key.distance} in" in page
    assert "as the key" in page


def test_double_tap_is_one_attempt(student: TestClient, site: Site) -> None:
    begin(student, STANDS, 1)
    showing, key = latest(site)
    sent = [send(student, showing, said_as(key)) for _ in range(3)]
    changed = said_as(key, valid="no" if key.valid else "yes")
    other = student.post(f"/practice/showings/{showing}/attempt", data=changed)

    assert len(set(sent)) == 1
    assert other.status_code == 409
    assert len(attempts(site)) == 1
    again = student.get(f"/practice/showings/{showing}")
    assert again.headers["location"] == sent[0]


def test_without_script_it_is_read_and_the_time_typed(
    student: TestClient, site: Site, planned: Planned
) -> None:
    trial = planned(STANDS, "")
    answer = student.post(f"/practice/{STANDS}/{trial}", data={"way": "watch"})
    page = student.get(answer.headers["location"]).text
    showing, key = latest(site)
    form = found(page, "main form")
    seconds = f"{key.taken_ms / 1000:.1f}"
    where = send(student, showing, {"typed": seconds, "valid": "yes"})

    assert form.attributes["action"] == f"/practice/showings/{showing}/attempt"
    assert len(form.css("[data-when]")) == 0
    assert page.count("<li><b>") >= 8
    assert "read in words" in student.get(where).text
    assert attempts(site)[0].typed_ms == int(float(seconds) * 1000)


@pytest.mark.parametrize("typed", ["", "soon", "0", "99999", "-3"])
def test_time_that_is_none_is_said_beside_it(
    student: TestClient, site: Site, typed: str
) -> None:
    begin(student, STANDS, 1, way="words")
    showing, _ = latest(site)
    said = {"typed": typed, "fault": "arms_used", "valid": "no"}
    answer = student.post(f"/practice/showings/{showing}/attempt", data=said)

    assert answer.status_code == 422
    assert found(answer.text, "#typed-error")
    assert found(answer.text, "input[name=fault][checked]").attributes["value"] == (
        "arms_used"
    )
    assert found(answer.text, "input[name=valid][checked]").attributes["value"] == "no"
    assert attempts(site) == []


def test_missing_count_keeps_the_times(student: TestClient, site: Site) -> None:
    begin(student, COUNTS, 1)
    showing, key = latest(site)
    said = said_as(key, count="")
    answer = student.post(f"/practice/showings/{showing}/attempt", data=said)

    assert answer.status_code == 422
    kept = found(answer.text, "input[name=start_ms]").attributes["value"]
    assert kept == str(key.start_ms)
    assert found(answer.text, "#count-error")


@pytest.mark.parametrize(
    "wrong",
    [
        {"start_ms": "soon"},
        {"stop_ms": ""},
        {"start_ms": "9000", "stop_ms": "8000"},
        {"splits_ms": "[3, 1]"},
        {"splits_ms": "{}"},
        {"fault": ["touches_strip"]},
    ],
    ids=str,
)
def test_damaged_form_is_refused(
    student: TestClient, site: Site, wrong: dict[str, object]
) -> None:
    begin(student, STANDS, 1)
    showing, key = latest(site)
    answer = student.post(
        f"/practice/showings/{showing}/attempt", data=said_as(key) | wrong
    )

    assert answer.status_code == 422
    assert attempts(site) == []


def test_private_until_shared(
    student: TestClient, supervisor: TestClient, therapist: TestClient, site: Site
) -> None:
    begin(student, STANDS, 1)
    showing, key = latest(site)
    where = send(student, showing, said_as(key))
    assert supervisor.get(where).status_code == 404

    student.post(f"{where}/share", data={"shared": "yes"})
    assert supervisor.get(where).status_code == 200
    assert f"{where}/share" not in supervisor.get(where).text
    with read_session(site.engine) as session:
        name = person_by(session, "student").name
    whose = f'{name}\'s attempt; "you" is {name}.'
    assert whose in found(supervisor.get(where).text, "main").text()
    assert whose not in found(student.get(where).text, "main").text()
    assert supervisor.post(f"{where}/share", data={}).status_code == 404
    assert therapist.get(where).status_code == 404
    assert supervisor.get(f"/practice/showings/{showing}").status_code == 404

    student.post(f"{where}/share", data={"shared": "no"})
    assert supervisor.get(where).status_code == 404


def test_list_tells_what_was_done_and_what_comes_back(
    student: TestClient, colleague: TestClient, site: Site, planned: Planned
) -> None:
    missed = planned(STANDS, "arms_used")
    begin(student, STANDS, missed)
    showing, key = latest(site)
    send(student, showing, said_as(key, fault=[]))
    begin(student, COUNTS, 1)
    showing, key = latest(site)
    send(student, showing, said_as(key))
    page = student.get("/practice").text
    back = found(page, "main .card")

    assert "Comes back" in back.text()
    assert [a.attributes["href"] for a in back.css("a")] == [
        f"/practice/{STANDS}/{missed}"
    ]
    assert len(found(page, "main section:last-of-type").css("li")) == 2
    assert "Comes back" not in colleague.get("/practice").text

    begin(student, STANDS, missed)
    showing, key = latest(site)
    send(student, showing, said_as(key))
    assert "Comes back" not in student.get("/practice").text


@pytest.mark.parametrize(
    ("late", "says", "following"),
    [(0, "", 2), (450, "", 2), (900, "time 0.90 s longer than the key", 1)],
)
def test_what_is_timed_far_off_comes_back_more_often(
    student: TestClient, site: Site, planned: Planned,
    monkeypatch: pytest.MonkeyPatch, late: int, says: str, following: int,
) -> None:  # fmt: skip
    """The chance stands still: only how far the time was off moves the draw."""
    monkeypatch.setattr("app.web.practice.secrets.randbelow", lambda _below: 20_000)
    where = student.get("/practice/next").headers["location"]
    assert where == f"/practice/{STANDS}/2"

    begin(student, STANDS, planned(STANDS, ""))
    showing, key = latest(site)
    send(student, showing, said_as(key, stop_ms=str(key.stop_ms + late)))
    page = student.get("/practice").text

    assert (says in page) is True
    assert ("Comes back" in page) is bool(says)
    again = student.get("/practice/next").headers["location"]
    assert again == f"/practice/{STANDS}/{following}"


@pytest.mark.parametrize("way", ["watch", "words"])
def test_reach_says_how_it_was_taken(
    student: TestClient, site: Site, planned: Planned, way: str
) -> None:
    """It has no time to tell it by; and what was watched is not then read."""
    html = begin(student, REACH, planned(REACH, "heel_rise"), way)
    showing, key = latest(site)
    html = html if way == "watch" else student.get(f"/practice/showings/{showing}").text
    said = found(html, "input[name=way]").attributes["value"]
    form: dict[str, object] = {"way": said, "fault": "heel_rise", "valid": "no"}
    wrong = student.post(
        f"/practice/showings/{showing}/attempt", data=form | {"distance": "far"}
    )
    send(student, showing, form | {"distance": str(key.distance)})

    assert wrong.status_code == 422
    assert ("What is seen" in wrong.text) is (way == "words")
    assert found(wrong.text, "input[name=way]").attributes["value"] == said
    assert [row.way for row in attempts(site)] == [
        "watched" if way == "watch" else "words"
    ]


def test_what_is_watched_is_not_told_in_words(
    student: TestClient, site: Site, planned: Planned
) -> None:
    """The words with their moments are the key: not in another tab, nor by a tap."""
    trial, uid = planned(STANDS, "arms_used"), new_uid()
    where = f"/practice/{STANDS}/{trial}"

    def tap(way: str) -> Response:
        return student.post(where, data={"uid": uid, "way": way}, headers=BY_SCRIPT)

    assert "data-figure" in tap("watch").text
    showing, key = latest(site)
    words = f"/practice/showings/{showing}"
    assert tap("words").headers["hx-redirect"] == words
    other_tab = student.get(words).text
    assert "You watched this one, so it is not told in words." in other_tab
    assert f'href="{where}">Begin another' in other_tab
    assert "What is seen" not in other_tab
    assert instants_in(other_tab, key) == set()
    assert "data-figure" in tap("watch").text, "the page may be asked for again"
    no_script = student.post(where, data={"uid": uid, "way": "watch"})
    assert no_script.headers["location"] == words

    send(student, showing, said_as(key, way="words"))
    (kept,) = attempts(site)
    assert (kept.way, kept.start_ms) == ("watched", key.start_ms)


def test_what_was_read_is_kept_as_read(
    student: TestClient, site: Site, planned: Planned
) -> None:
    """Whatever the form says: who read the moments has timed nothing."""
    trial, uid = planned(STANDS, ""), new_uid()
    data = {"uid": uid, "way": "words"}
    student.post(f"/practice/{STANDS}/{trial}", data=data, headers=BY_SCRIPT)
    showing, key = latest(site)
    where = f"/practice/showings/{showing}"
    assert "What is seen" in student.get(where).text
    again = student.post(
        f"/practice/{STANDS}/{trial}", data=data | {"way": "watch"}, headers=BY_SCRIPT
    )
    untimed = student.post(f"{where}/attempt", data=said_as(key, way="watched"))
    send(student, showing, said_as(key, way="watched", typed="12.3"))
    (kept,) = attempts(site)

    assert again.headers["hx-redirect"] == where
    assert untimed.status_code == 422
    assert "What is seen" in untimed.text
    assert (kept.way, kept.start_ms, kept.typed_ms) == ("words", None, 12_300)


@pytest.mark.parametrize("way", ["watched", "words"])
def test_what_was_begun_before_the_way_was_kept_is_as_it_says(
    student: TestClient, site: Site, way: str
) -> None:
    begin(student, STANDS, 1)
    showing, key = latest(site)
    with write_session(site.engine) as session:
        session.get_one(PracticeShowing, showing).way = None
    times = {} if way == "watched" else {"start_ms": "", "stop_ms": ""}
    assert student.get(f"/practice/showings/{showing}").status_code == 200
    send(student, showing, said_as(key, way=way, typed="12.3", **times))

    assert [row.way for row in attempts(site)] == [way]


def counts(site: Site) -> dict[str, int]:
    with read_session(site.engine) as session:
        return {
            table.name: session.exec(select(func.count()).select_from(table)).one()
            for table in Table.metadata.sorted_tables
        }


def test_practice_touches_no_other_table(student: TestClient, site: Site) -> None:
    before = counts(site)
    begin(student, STANDS, 1)
    showing, key = latest(site)
    where = send(student, showing, said_as(key))
    student.post(f"{where}/share", data={"shared": "yes"})
    after = counts(site)

    assert {name for name in after if after[name] != before[name]} == {
        "practice_showing", "practice_attempt", "audit_entry",
    }  # fmt: skip


def test_cases_that_changed_keep_what_was_done(
    student: TestClient, site: Site, monkeypatch: pytest.MonkeyPatch, planned: Planned
) -> None:
    begin(student, STANDS, planned(STANDS, "arms_used"))
    showing, key = latest(site)
    where = send(student, showing, said_as(key, fault=[]))
    begin(student, STANDS, 1)
    open_showing, other = latest(site)
    changed = replace(book(), edition="later")
    for module in ("practice", "practice_book"):
        monkeypatch.setattr(f"app.web.{module}.book", lambda: changed)
    late = student.post(
        f"/practice/showings/{open_showing}/attempt", data=said_as(other)
    )
    page = student.get(where).text

    assert late.status_code == 422
    assert "The cases were changed" in page
    assert "You missed" in page
    assert "trial-line" not in page


def test_one_place_in_the_menu(student: TestClient) -> None:
    page = student.get("/practice").text

    assert page.count('href="/practice">Practice</a>') == 1


@pytest.mark.parametrize(
    "path", ["/practice/nobody/1", f"/practice/{STANDS}/99", "/practice/attempts/1"]
)
def test_what_is_not_there(student: TestClient, path: str) -> None:
    assert student.get(path).status_code == 404


@pytest.mark.parametrize(
    ("kind", "at", "says", "back", "told"),
    [
        ("help_given", 500, "you pressed 0.50 s after it was", "", ""),
        ("help_given", 5_000, "Right: a hand had to be laid on", "", ""),
        ("help_given", -250, "You pressed 0.25 s before", "", ""),
        ("help_given", -251, "this trial comes back",
         "stopped before anything was to be seen",
         "Stopped before anything was to be seen: 1 trial."),
        ("help_given", 20_000, "you pressed 20.00 s after it was. Press as soon as",
         "stopped more than 5 s after a hand was laid on",
         "Stopped more than 5 s after a hand was laid on: 1 trial."),
        ("", 500, "Nobody needed a hand", "stopped without cause",
         "Stopped without cause: 1 trial, where nobody needed a hand."),
    ],
)  # fmt: skip
def test_practised_stop_is_told_and_is_no_event(
    student: TestClient,
    site: Site,
    planned: Planned,
    kind: str,
    at: int,
    says: str,
    back: str,
    told: str,
) -> None:
    """It stands in the attempt alone: no time, no count, no row of a real stop."""
    before = counts(site)
    begin(student, STOPPED, planned(STOPPED, kind))
    showing, key = latest(site)
    due = safe_from(key)
    pressed = (key.start_ms if due is None else due) + at
    said = said_as(
        key, start_ms="", stop_ms="", made_safe="yes", safe_ms=str(pressed), valid="no"
    )
    page = student.get(send(student, showing, said)).text
    (kept,) = attempts(site)
    after = counts(site)

    assert says in page
    assert "is no event of anybody" in page
    assert (kept.made_safe, kept.made_safe_ms) == (True, pressed)
    assert (kept.start_ms, kept.stop_ms, kept.typed_ms) == (None, None, None)
    assert kept.key_safe_ms == due
    again = student.get("/practice").text
    assert ("Comes back" in again) is bool(back)
    assert back in again
    assert told in student.get("/practice/progress").text
    assert {name for name in after if after[name] != before[name]} == {
        "practice_showing", "practice_attempt",
    }  # fmt: skip


def test_stop_holds_nobody_to_what_came_later(
    student: TestClient, site: Site, planned: Planned
) -> None:
    """Who stops before the hand is laid on has missed none; the trial is over."""
    begin(student, STOPPED, planned(STOPPED, "help_given"))
    showing, key = latest(site)
    early = str(key.start_ms + 10)
    said = said_as(
        key, start_ms="", stop_ms="", made_safe="yes", safe_ms=early, fault=[],
        valid="no",
    )  # fmt: skip
    page = student.get(send(student, showing, said)).text
    (kept,) = attempts(site)

    assert "before a hand had to be laid on" in page
    assert "You missed" not in page
    assert "It does not count: you stopped it." in page
    assert "Nothing did until you stopped it" in page
    assert (kept.key_faults, kept.key_valid) == ([], False)
    assert kept.key_safe_ms == safe_from(key)
    assert "when nothing of it was to be seen yet" in page
    assert "Comes back" in student.get("/practice").text


def test_stop_that_was_due_is_missed(
    student: TestClient, site: Site, planned: Planned
) -> None:
    begin(student, STOPPED, planned(STOPPED, "help_given"))
    showing, key = latest(site)
    page = student.get(send(student, showing, said_as(key))).text
    assert "You did not press" in page
    assert "a stop was asked for and not pressed" in student.get("/practice").text
    told = student.get("/practice/progress").text
    assert "A stop was asked for and not pressed: 1 trial." in told

    begin(student, STOPPED, planned(STOPPED, ""))
    showing, key = latest(site)
    page = student.get(send(student, showing, said_as(key))).text
    assert "<h2>Stop - make safe</h2>" not in page


def test_stop_in_words_needs_no_time(
    student: TestClient, site: Site, planned: Planned
) -> None:
    begin(student, STOPPED, planned(STOPPED, "help_given"), way="words")
    showing, _ = latest(site)
    said: dict[str, object] = {
        "made_safe": "yes", "typed": "", "fault": "help_given", "valid": "no",
    }  # fmt: skip
    page = student.get(send(student, showing, said)).text

    assert "Right: a hand had to be laid on in this trial." in page
    assert attempts(site)[0].made_safe_ms is None


def test_script_is_told_that_it_was_kept(student: TestClient, site: Site) -> None:
    """The phone lets go of an attempt when the answer names its id, however often."""
    begin(student, STANDS, 1)
    showing, key = latest(site)
    where = f"/practice/showings/{showing}/attempt"
    answers = [
        student.post(where, data=said_as(key), headers=BY_SCRIPT) for _ in range(2)
    ]
    (kept,) = attempts(site)

    for answer in answers:
        assert answer.headers["hx-redirect"] == f"/practice/attempts/{kept.id}"
        assert answer.headers["tapeline-saved"] == kept.uid


def test_list_stands_on_top_with_what_is_open(
    student: TestClient, supervisor: TestClient, site: Site
) -> None:
    with read_session(site.engine) as session:
        me = person_by(session, "student").id
    supervisor.post(
        f"/practice/people/{me}/list",
        data={"trials-five_times_sit_to_stand": "1", "trials-gait_speed": "2"},
    )
    begin(student, STANDS, 1)
    showing, key = latest(site)
    send(student, showing, said_as(key))
    page = student.get("/practice").text
    asked = found(page, "#asked").text(separator=" ")

    assert page.index('id="asked"') < page.index("/practice/scoring")
    assert "Done Five times sit to stand: 1 of 1" in " ".join(asked.split())
    assert "Open Gait speed: 0 of 2" in " ".join(asked.split())
    (link,) = found(page, "#asked").css("a")
    assert student.get(str(link.attributes["href"])).status_code == 200


def test_list_counts_no_trial_that_was_stopped(
    student: TestClient, supervisor: TestClient, site: Site
) -> None:
    """It asks for trials with a result; whoever stops them all has none."""
    with read_session(site.engine) as session:
        me = person_by(session, "student").id
    supervisor.post(f"/practice/people/{me}/list", data={"trials-gait_speed": "2"})
    case = next(c.id for c in book().cases.values() if c.measure == "gait_speed")
    begin(student, case, 1)
    send(student, latest(site)[0], stopped_at(900))
    begin(student, case, 1)
    showing, key = latest(site)
    send(student, showing, said_as(key))

    for page in ("/practice", "/practice/progress"):
        assert "1 of 2" in student.get(page).text


def test_all_of_a_test_are_shared_at_once(student: TestClient, site: Site) -> None:
    for case in (STOPPED, STOPPED, STANDS):
        begin(student, case, 1)
        showing, key = latest(site)
        send(student, showing, said_as(key))
    page = student.get("/practice/progress").text
    assert "Share 2 more with supervisors" in page
    student.post("/practice/share", data={"measure": "single_leg_stance"})

    assert [a.shared for a in attempts(site)] == [True, True, False]
    assert "Share 1 more with supervisors" in student.get("/practice/progress").text
    assert student.post("/practice/share", data={"measure": "x"}).status_code == 404


def test_stopped_trials_are_shared_with_all_of_a_test(
    student: TestClient, supervisor: TestClient, site: Site, planned: Planned
) -> None:
    """Who shares all shares their stops too: a supervisor sees those too many."""
    trial = planned(STOPPED, "")
    begin(student, STOPPED, trial)
    showing, key = latest(site)
    send(student, showing, said_as(key))
    begin(student, STOPPED, trial)
    showing, key = latest(site)
    send(student, showing, stopped_at(900))
    with read_session(site.engine) as session:
        theirs = f"/practice/people/{person_by(session, 'student').id}"
    assert "Share 2 more with supervisors" in student.get("/practice/progress").text
    assert "Stopped without cause" not in supervisor.get(theirs).text
    student.post("/practice/share", data={"measure": "single_leg_stance"})

    assert [a.shared for a in attempts(site)] == [True, True]
    assert "Stopped without cause: 1 trial" in supervisor.get(theirs).text
    assert "more with supervisors" not in student.get("/practice/progress").text


def test_only_students_are_led(
    student: TestClient, therapist: TestClient, supervisor: TestClient
) -> None:
    assert "Begin with practice" in found(student.get("/caseload").text, "#path").text()
    for other in (therapist, supervisor):
        assert 'id="path"' not in other.get("/caseload").text


def test_supervisor_sees_needless_stops_once_shared(
    student: TestClient, supervisor: TestClient, site: Site, planned: Planned
) -> None:
    """Else a trial that is hard to time could be stopped away unseen."""
    begin(student, STOPPED, planned(STOPPED, ""))
    showing, key = latest(site)
    said = said_as(
        key, start_ms="", stop_ms="", made_safe="yes", safe_ms="900", valid="no"
    )
    send(student, showing, said)
    with read_session(site.engine) as session:
        theirs = f"/practice/people/{person_by(session, 'student').id}"
    before = supervisor.get(theirs).text
    shares = f"/practice/attempts/{attempts(site)[0].id}/share"
    student.post(shares, data={"shared": "yes"})

    assert "Stopped without cause" not in before
    assert "Stopped without cause: 1 trial" in supervisor.get(theirs).text


def test_list_is_folded_by_test(student: TestClient, site: Site) -> None:
    """What comes next stands first; of each test is said how many there are."""
    begin(student, STANDS, 1)
    showing, key = latest(site)
    send(student, showing, said_as(key))
    page = LexborHTMLParser(student.get("/practice").text)
    folds = [f for f in page.css("main details") if f.css("h3")]

    assert len(folds) == 7
    assert all("open" not in fold.attributes for fold in folds)
    first = folds[0].css_first("summary")
    assert first is not None
    assert "1 of 12 trials done" in " ".join(first.text().split())


def test_parts_of_the_line_have_the_names_of_the_test(
    student: TestClient, site: Site
) -> None:
    """By the words that a therapist knows the parts by."""
    measure = site.catalogue.measures["timed_up_and_go"]
    case = next(c for c in book().cases.values() if c.measure == measure.id)
    begin(student, case.id, 1)
    showing, key = latest(site)
    page = student.get(send(student, showing, said_as(key))).text

    assert len(key.splits) == len(measure.splits) > 1
    for name in measure.splits:
        assert f"{name[:1].upper()}{name[1:]}, by the key" in page
    assert "Part by the key" not in page
