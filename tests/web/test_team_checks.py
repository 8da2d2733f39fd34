"""Team checks: the same showings for several, each seen once, compared on their own."""

from dataclasses import replace

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.storage.database import read_session
from app.storage.practice import PracticeAttempt, PracticeShowing
from app.storage.team_check_rows import TeamCheck, TeamCheckMember
from app.web.deps import Site
from app.web.practice_book import book, timeline_of
from tests.conftest import found, person_by
from tests.make import new_uid
from tests.web.test_practice import BY_SCRIPT, latest, said_as

MEASURE = "single_leg_stance"


def numbers(site: Site, *handles: str) -> list[str]:
    with read_session(site.engine) as session:
        return [str(person_by(session, handle).id) for handle in handles]


def set_one(supervisor: TestClient, site: Site, *handles: str, many: int = 10) -> int:
    answer = supervisor.post(
        "/practice/checks/new",
        data={"uid": new_uid(), "measure": MEASURE, "many": str(many),
              "person": numbers(site, *handles)},
    )  # fmt: skip
    assert answer.status_code == 303, answer.text
    with read_session(site.engine) as session:
        wanted = select(TeamCheck).order_by(col(TeamCheck.id).desc())
        row = session.exec(wanted).first()
        assert row is not None
        return row.id


def begin(client: TestClient, check: int, uid: str = "") -> None:
    place = found(client.get(f"/practice/checks/{check}").text, "[name=place]")
    answer = client.post(
        f"/practice/checks/{check}", headers=BY_SCRIPT,
        data={"uid": uid or new_uid(), "way": "watch",
              "place": place.attributes["value"]},
    )  # fmt: skip
    assert answer.status_code == 200
    assert "data-figure" in answer.text


def time_one(client: TestClient, site: Site, check: int, off: int) -> None:
    begin(client, check)
    showing, key = latest(site)
    said = said_as(key, stop_ms=str(key.stop_ms + off))
    client.post(f"/practice/showings/{showing}/attempt", data=said)


def shown(site: Site, handle: str) -> list[tuple[str, int, int]]:
    with read_session(site.engine) as session:
        person = person_by(session, handle)
        wanted = select(PracticeShowing).where(PracticeShowing.person_id == person.id)
        rows = session.exec(wanted.order_by(col(PracticeShowing.id))).all()
        return [(r.case_id, r.trial, r.seed) for r in rows]


def test_everybody_gets_the_same_trials_and_is_compared(
    supervisor: TestClient, student: TestClient, colleague: TestClient, site: Site
) -> None:
    check = set_one(supervisor, site, "student", "colleague")
    top = found(student.get("/practice").text, "#asked").text(separator=" ")
    assert "Team check, One-leg stance:" in top
    assert (
        "shared with supervisors at once"
        in student.get(f"/practice/checks/{check}").text
    )
    for place in range(10):
        time_one(student, site, check, 40 + place)
        time_one(colleague, site, check, 90 - 7 * place)
    page = supervisor.get(f"/practice/agreement?measure={MEASURE}&check={check}").text

    assert len(set(shown(site, "student"))) == 10
    assert shown(site, "student") == shown(site, "colleague")
    with read_session(site.engine) as session:
        kept = session.exec(select(PracticeAttempt)).all()
        assert len(kept) == 20
        assert all(attempt.shared for attempt in kept)
    words = found(page, f"#check-{check}").text(separator=" ")
    assert words.count("10 of 10 sent") == 2
    assert "10 trials rated by each of" in page
    assert "ICC(2,1), absolute agreement of the time:" in page
    over = student.get(f"/practice/checks/{check}").text
    assert "shown all 10 trials and answered 10" in over
    assert 'id="asked"' not in student.get("/practice").text


def test_practice_never_shows_a_trial_of_a_check(
    supervisor: TestClient, student: TestClient, colleague: TestClient, site: Site
) -> None:
    """Else its key would be known before the check, and what is compared is spoilt."""
    check = set_one(supervisor, site, "student", "colleague")
    begin(student, check)
    ((case, trial, seed),) = shown(site, "student")
    for _ in range(2):
        colleague.post(
            f"/practice/{case}/{trial}", headers=BY_SCRIPT,
            data={"uid": new_uid(), "way": "watch"},
        )  # fmt: skip
    practised = shown(site, "colleague")
    student.post(
        f"/practice/{case}/{trial}", headers=BY_SCRIPT,
        data={"uid": new_uid(), "way": "watch"},
    )  # fmt: skip

    assert {one[:2] for one in practised} == {(case, trial)}
    assert seed not in {one[2] for one in practised}
    assert shown(site, "student")[-1] in practised, "those of practice are shared"


def test_other_trials_are_left_out_of_a_check(
    supervisor: TestClient, student: TestClient, site: Site
) -> None:
    check = set_one(supervisor, site, "student", "therapist")
    other = set_one(supervisor, site, "student", "supervisor")
    time_one(student, site, check, 40)
    time_one(student, site, other, 40)
    path = f"/practice/agreement?measure={MEASURE}"

    for number in (check, other):
        page = supervisor.get(f"{path}&check={number}").text
        assert "1 trial judged." in page
    assert "2 trials judged." in supervisor.get(path).text


def test_a_trial_is_shown_once(
    supervisor: TestClient, student: TestClient, site: Site
) -> None:
    """Begun and left it is passed over; the same tap again is the same showing."""
    check = set_one(supervisor, site, "student", "supervisor")
    uid = new_uid()
    data = {"uid": uid, "way": "watch", "place": "1"}
    for _ in range(2):
        again = student.post(f"/practice/checks/{check}", data=data, headers=BY_SCRIPT)
        assert "data-figure" in again.text
    late = student.post(
        f"/practice/checks/{check}", data=data | {"uid": new_uid()}, headers=BY_SCRIPT
    )
    page = student.get(f"/practice/checks/{check}").text

    assert late.headers["hx-redirect"] == f"/practice/checks/{check}"
    assert len(shown(site, "student")) == 1
    assert "trial 2 of 10" in page
    assert "1 begun and not answered" in student.get("/practice").text


def test_trial_of_a_check_that_is_watched_is_not_told_in_words(
    supervisor: TestClient, student: TestClient, site: Site
) -> None:
    check = set_one(supervisor, site, "student", "supervisor")
    begin(student, check)
    page = student.get(f"/practice/showings/{latest(site)[0]}").text

    assert "You watched this one, so it is not told in words." in page
    assert f'href="/practice/checks/{check}">Begin another' in page
    assert "What is seen" not in page


def sent_by(site: Site, handle: str) -> int:
    """The newest attempt of a person."""
    with read_session(site.engine) as session:
        person = person_by(session, handle)
        wanted = select(PracticeAttempt.id).where(
            PracticeAttempt.person_id == person.id
        )
        found = session.exec(wanted.order_by(col(PracticeAttempt.id).desc())).first()
        assert found is not None
        return found


def sent_to(site: Site, student: TestClient, check: int) -> str:
    """The page of what the student sent just now."""
    time_one(student, site, check, 40)
    return f"/practice/attempts/{sent_by(site, 'student')}"


def test_what_was_sent_to_a_check_is_not_taken_back(
    supervisor: TestClient, student: TestClient, site: Site
) -> None:
    """Else the better ones could be chosen afterwards, while all count as sent."""
    check = set_one(supervisor, site, "student", "therapist")
    where = sent_to(site, student, check)
    refused = student.post(f"{where}/share", data={"shared": "no"})

    assert "Take it back" not in student.get(where).text
    assert "one of a team check, in which all is shared" in student.get(where).text
    assert refused.status_code == 409
    assert "what is sent there stays shared" in refused.text
    assert supervisor.get(where).status_code == 200


def test_key_of_a_check_waits_for_who_is_in_it(
    supervisor: TestClient, student: TestClient, site: Site,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    check = set_one(supervisor, site, "student", "supervisor")
    where = sent_to(site, student, check)
    before = supervisor.get(where)
    begin(supervisor, check)
    begun = supervisor.get(where)
    showing, key = latest(site)
    with monkeypatch.context() as later:  # nobody can send any more
        later.setattr("app.web.practice.book", lambda: replace(book(), edition="later"))
        assert supervisor.get(where).status_code == 200
    supervisor.post(f"/practice/showings/{showing}/attempt", data=said_as(key))

    for refused in (before, begun):
        assert refused.status_code == 403
        assert "Its key is shown once you have sent yours." in refused.text
        assert "Beside the key" not in refused.text
    assert "Beside the key" in supervisor.get(where).text


def test_figures_tell_no_key_that_waits(
    supervisor: TestClient, student: TestClient, site: Site
) -> None:
    """Nor does the table of somebody's trials, and one's own is told as ever."""
    check = set_one(supervisor, site, "student", "supervisor")
    time_one(student, site, check, 40)
    sent, who = sent_by(site, "student"), numbers(site, "student")[0]
    own = row_of(student.get("/practice/progress").text, sent)
    before = row_of(supervisor.get(f"/practice/people/{who}").text, sent)
    time_one(supervisor, site, check, 40)
    after = row_of(supervisor.get(f"/practice/people/{who}").text, sent)

    assert before[2:] == ["after yours"]
    assert after == own
    assert len(own) == 4
    assert own[3] == "+0.04 s"


def row_of(html: str, attempt: int) -> list[str]:
    """The cells of one trial in a table of them."""
    link = found(html, f".standing-table a[href='/practice/attempts/{attempt}']")
    cell = link.parent
    assert cell is not None
    assert cell.parent is not None
    return [each.text().strip() for each in cell.parent.css("td")]


def test_key_of_a_check_waits_for_nobody_outside_it(
    supervisor: TestClient, student: TestClient, site: Site
) -> None:
    check = set_one(supervisor, site, "student", "therapist")

    assert supervisor.get(sent_to(site, student, check)).status_code == 200


def test_key_is_the_one_of_the_check(
    supervisor: TestClient, student: TestClient, site: Site
) -> None:
    check = set_one(supervisor, site, "student", "supervisor")
    begin(student, check)
    number, key = latest(site)
    with read_session(site.engine) as session:
        row = session.get_one(TeamCheck, check)
        showing = session.get_one(PracticeShowing, number)
        assert row.showings[0] == (showing.case_id, showing.trial, showing.seed)
        assert timeline_of(showing).key == key
        assert len(session.exec(select(TeamCheckMember)).all()) == 2


@pytest.mark.parametrize(
    ("wrong", "beside"),
    [
        ({"many": "9"}, "many"),
        ({"many": "41"}, "many"),
        ({"many": "soon"}, "many"),
        ({"measure": "no_such_test"}, "measure"),
        ({"measure": ""}, "measure"),
        ({"person": ["1"]}, "person"),
    ],
    ids=str,
)
def test_what_cannot_be_set_comes_back(
    supervisor: TestClient, site: Site, wrong: dict[str, object], beside: str
) -> None:
    people = numbers(site, "student", "supervisor")
    data = {"uid": new_uid(), "measure": MEASURE, "many": "12", "person": people}
    answer = supervisor.post("/practice/checks/new", data=data | wrong)

    assert answer.status_code == 422
    assert found(answer.text, f"#{beside}-error")
    with read_session(site.engine) as session:
        assert not session.exec(select(TeamCheck)).all()


def test_only_its_people_reach_it(
    supervisor: TestClient, student: TestClient, therapist: TestClient, site: Site
) -> None:
    check = set_one(supervisor, site, "student", "supervisor")

    assert therapist.get(f"/practice/checks/{check}").status_code == 404
    assert therapist.post(f"/practice/checks/{check}", data={}).status_code == 404
    for damaged in ("", "0", "11", "soon"):
        answer = student.post(f"/practice/checks/{check}", data={"place": damaged})
        assert answer.status_code == 422


def test_changed_cases_end_it(
    supervisor: TestClient, student: TestClient, site: Site,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    check = set_one(supervisor, site, "student", "supervisor")
    for module in ("team_checks", "practice_asked", "team_lines"):
        for name, value in (("key_edition", lambda: "later"),):
            monkeypatch.setattr(f"app.web.{module}.{name}", value, raising=False)
    answer = student.post(
        f"/practice/checks/{check}", data={"uid": new_uid(), "place": "1"}
    )

    assert answer.status_code == 422
    assert "has ended" in student.get(f"/practice/checks/{check}").text


def test_stopped_trials_are_told_apart_from_those_compared(
    supervisor: TestClient, student: TestClient, colleague: TestClient, site: Site
) -> None:
    check = set_one(supervisor, site, "student", "colleague")
    time_one(student, site, check, 40)
    begin(student, check)
    showing, key = latest(site)
    said = said_as(
        key, start_ms="", stop_ms="", made_safe="yes", safe_ms="900", valid="no"
    )
    student.post(f"/practice/showings/{showing}/attempt", data=said)
    time_one(colleague, site, check, 40)
    page = supervisor.get(f"/practice/agreement?measure={MEASURE}").text
    line = " ".join(found(page, f"#check-{check}").text().split())

    assert (
        "2 of 10 sent, 1 of them with a result to compare and 1 stopped to make safe"
        in line
    )
    assert line.count("stopped to make safe") == 1
