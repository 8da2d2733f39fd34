"""Editing, episodes, precautions, profile: two at once, closed lists, nothing lost."""

from collections.abc import Callable
from datetime import date

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.clinical.measure import Norm
from app.clinical.person import Onset
from app.clinical.vocabulary import FALL_QUESTIONS
from app.storage.database import read_session
from app.storage.episodes import Episode
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.precautions import PrecautionOnEpisode
from app.storage.profile import Profile
from app.storage.scores import Score
from app.web.deps import Site
from app.web.judging import person_on
from app.web.rejudging import compared_all, judged_all
from tests.conftest import Clock, found
from tests.web.bedside import a_round, done

SignIn = Callable[[str], TestClient]
SAID = {"label": "Blue 7", "birth_year": "1948", "sex": "female", "version": "1"}
CARE = {"reason": "walks less", "setting": "community", "plan": "restore"}


def patient(site: Site) -> Patient:
    with read_session(site.engine) as session:
        return session.exec(select(Patient)).one()


def edit(client: TestClient, patient_id: int, **said: str) -> int:
    return client.post(f"/patients/{patient_id}/edit", data=SAID | said).status_code


def test_everything_said_is_there_again(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    said = {
        **SAID, "condition": "stroke", "since-stroke": "2025-11-03",
        "time_since": "established", "height": "162.5", "height_unit": "cm",
        "lower_leg": "16", "lower_leg_unit": "in", "weight": "150", "weight_unit": "lb",
    }  # fmt: skip
    assert edit(therapist, patient_id, **said) == 303
    with read_session(site.engine) as session:
        details = details_of(session, session.get_one(Patient, patient_id))
    page = therapist.get(f"/patients/{patient_id}/edit").text

    assert details.sizes == {
        "height": ("162.5", "cm"), "lower_leg": ("16", "in"), "weight": ("150", "lb"),
    }  # fmt: skip
    assert str(details.conditions["stroke"]) == "2025-11-03"
    assert found(page, "#height").attributes["value"] == "162.5"
    assert found(page, "[name=since-stroke]").attributes["value"] == "2025-11-03"


def test_size_stays_as_typed_however_often_the_rest_is_saved(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    """10 in is 10 in after ten saves, and never 25.4 cm."""
    for version in range(1, 11):
        said = {"version": str(version), "lower_leg": "15.5", "lower_leg_unit": "in"}
        assert edit(therapist, patient_id, **said) == 303
    with read_session(site.engine) as session:
        details = details_of(session, session.get_one(Patient, patient_id))

    assert details.sizes == {"lower_leg": ("15.5", "in")}


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"height": "17"}, "height"),
        ({"height": "1e2"}, "height"),
        ({"height": "NaN"}, "height"),
        ({"weight": "70", "weight_unit": "stone"}, "weight"),
        ({"condition": "stroke", "since-stroke": "0"}, "since-stroke"),
        ({"condition": "stroke", "since-stroke": "2027-01-01"}, "since-stroke"),
        ({"condition": "stroke", "since-stroke": "2027"}, "since-stroke"),
        ({"condition": "stroke", "since-stroke": "2025-13"}, "since-stroke"),
        ({"condition": "stroke", "side-stroke": "upper"}, "side-stroke"),
        ({"label": ""}, "label"),
        ({"sex": "x"}, "sex"),
        ({"birth_year": "1848"}, "birth_year"),
    ],
)
def test_bad_field_is_named_and_the_rest_kept(
    therapist: TestClient,
    patient_id: int,
    site: Site,
    said: dict[str, str],
    field: str,
) -> None:
    sent = SAID | {"label": "Other 9"} | said
    answer = therapist.post(f"/patients/{patient_id}/edit", data=sent)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    if "label" not in said:
        assert found(answer.text, "#label").attributes["value"] == "Other 9"
    assert patient(site).label == "Blue 7"


def test_second_of_two_is_told_and_keeps_what_they_typed(
    therapist: TestClient, supervisor: TestClient, patient_id: int, site: Site
) -> None:
    won = edit(supervisor, patient_id, label="Amber Heron")
    sent = SAID | {"label": "Slate Otter"}
    told = therapist.post(f"/patients/{patient_id}/edit", data=sent)
    cells = [n.text() for n in found(told.text, ".compare tbody").css("td")]

    assert won == 303
    assert told.status_code == 409
    assert "Changed by Supervisor" in told.text
    assert cells == ["Amber Heron", "Slate Otter"]
    assert found(told.text, "#label").attributes["value"] == "Slate Otter"
    assert patient(site).label == "Amber Heron"

    version = found(told.text, "[name=version]").attributes["value"] or ""
    assert edit(therapist, patient_id, label="Slate Otter", version=version) == 303
    assert patient(site).label == "Slate Otter"


def test_same_edit_sent_twice_is_no_quarrel(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    assert [edit(therapist, patient_id, label="Red 1") for _ in range(2)] == [303, 303]
    assert patient(site).version == 2


def test_label_like_a_name_is_saved_and_asked_about(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    sent = SAID | {"label": "Mrs Example"}
    answer = therapist.post(f"/patients/{patient_id}/edit", data=sent)

    assert "could tell who somebody is" in found(answer.text, ".caution").text()
    assert patient(site).label == "Mrs Example"


def test_episode_is_changed_closed_and_opened_again(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = f"/patients/{patient_id}/episodes"
    page = therapist.get(url).text
    version = found(page, "[name=version]").attributes["value"] or ""
    changed = CARE | {"plan": "maintain", "order_on": "2026-02-27", "version": version}
    assert therapist.post(url, data=changed).status_code == 303
    stale = therapist.post(url, data=changed | {"plan": "restore"})
    closed = therapist.post(
        "/episodes/1/close", data={"end_reason": "goals_met", "version": "2"}
    )
    blocked = therapist.get(f"/patients/{patient_id}/measures")
    bare = therapist.post("/episodes/1/reopen", data={"version": "3"})
    again = {"version": "3", "why": "closed_by_mistake"}
    reopened = therapist.post("/episodes/1/reopen", data=again)
    shown = therapist.get(url).text
    with read_session(site.engine) as session:
        episode = session.exec(select(Episode)).one()

    assert stale.status_code == 409
    assert "maintain function" in found(stale.text, ".compare tbody").text()
    assert bare.status_code == 422
    assert found(bare.text, "#why-1-error").text()
    assert "closed by mistake" in shown
    assert (closed.status_code, reopened.status_code) == (303, 303)
    assert blocked.status_code != 500
    assert (episode.plan, str(episode.order_on)) == ("maintain", "2026-02-27")
    assert (episode.closed_on, episode.end_reason) == (None, None)


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({}, "end_reason"),
        ({"end_reason": "tired"}, "end_reason"),
        ({"end_reason": "died", "closed_on": "2026-03-09"}, "closed_on"),
        ({"end_reason": "died", "closed_on": "2025-03-09"}, "closed_on"),
    ],
)
def test_episode_ends_for_a_reason_on_a_day_it_was_open(
    therapist: TestClient, site: Site, said: dict[str, str], field: str
) -> None:
    answer = therapist.post("/episodes/1/close", data=said | {"version": "1"})

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    with read_session(site.engine) as session:
        assert session.exec(select(Episode)).one().closed_on is None


def test_new_episode_is_opened_after_the_last_was_closed(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    closing = {"end_reason": "plateau", "version": "1"}
    therapist.post("/episodes/1/close", data=closing)
    opened = therapist.post(f"/patients/{patient_id}/episodes", data=CARE)

    assert opened.status_code == 303
    with read_session(site.engine) as session:
        assert len(session.exec(select(Episode)).all()) == 2
    assert a_round(therapist, patient_id, "timed_up_and_go")


def add_order(client: TestClient, patient_id: int, **said: str) -> int:
    given = {"tag": "ttwb_le", "set_by": "surgeon", **said}
    url = f"/patients/{patient_id}/precautions"
    return client.post(url, data=given).status_code


def test_order_set_here_blocks_and_lifted_here_frees(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    assert add_order(therapist, patient_id, review_on="2026-03-20") == 303
    again = add_order(therapist, patient_id, review_on="2026-03-20")  # a double tap
    ready = f"/patients/{patient_id}/measures/timed_up_and_go/ready"
    blocked = therapist.get(ready).text
    bare = therapist.post("/precautions/1/end", data={"version": "1"})
    said = {"end_note": "surgeon, healed", "version": "1"}
    lifted = [therapist.post("/precautions/1/end", data=said) for _ in range(2)]
    free = therapist.get(ready).text
    with read_session(site.engine) as session:
        (row,) = session.exec(select(PrecautionOnEpisode)).all()

    assert "Blocked." in blocked
    assert again == 303
    assert bare.status_code == 422
    assert found(bare.text, "#end_note-error").text()
    assert [answer.status_code for answer in lifted] == [303, 303]
    assert "Blocked." not in free
    assert (row.set_by, row.end_note) == ("surgeon", "surgeon, healed")
    assert str(row.review_on) == "2026-03-20"


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"tag": "nonsense"}, "tag"),
        ({"set_by": "Dr Example"}, "set_by"),
        ({"review_on": "2026-03-01"}, "review_on"),
        ({"review_on": "soon"}, "review_on"),
        ({"set_on": "2026-03-03"}, "set_on"),
        ({"set_on": "yesterday"}, "set_on"),
        ({"note": "x" * 501}, "note"),
    ],
)
def test_bad_precaution_is_refused(
    therapist: TestClient, patient_id: int, said: dict[str, str], field: str
) -> None:
    given = {"tag": "ttwb_le", "set_by": "surgeon", **said}
    answer = therapist.post(f"/patients/{patient_id}/precautions", data=given)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()


def test_order_given_before_it_was_entered_keeps_its_own_day(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    assert add_order(therapist, patient_id, set_on="2026-02-20") == 303
    lifted = {"end_note": "surgeon", "version": "1"}
    assert therapist.post("/precautions/1/end", data=lifted).status_code == 303
    assert add_order(therapist, patient_id, set_on="2026-02-25") == 303
    with read_session(site.engine) as session:
        rows = session.exec(select(PrecautionOnEpisode)).all()

    assert [str(row.set_on) for row in rows] == ["2026-02-20", "2026-02-25"]
    assert [row.ended_on is None for row in rows] == [False, True]


def test_overdue_review_is_set_anew(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    add_order(therapist, patient_id, review_on="2026-03-09")
    url = "/precautions/1/change"
    said = {"set_by": "surgeon", "set_on": "2026-03-02", "version": "1"}
    bad = therapist.post(url, data=said | {"review_on": "2026-01-01", "note": "kept"})
    good = therapist.post(url, data=said | {"review_on": "2026-03-30"})
    with read_session(site.engine) as session:
        row = session.exec(select(PrecautionOnEpisode)).one()

    assert bad.status_code == 422
    assert found(bad.text, "#review_on-error").text()
    assert found(bad.text, "#note-1").attributes["value"] == "kept"
    assert good.status_code == 303
    assert (str(row.review_on), row.version) == ("2026-03-30", 2)


def test_not_asked_about_a_fall_is_not_a_no(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = f"/patients/{patient_id}/profile"
    said = {
        "fall_injury": "needed_care", "fall_cannot_rise": "no", "frailty": "unknown",
        "version": "0",
    }  # fmt: skip
    assert edit(therapist, patient_id, fall_history="one") == 303
    assert therapist.post(url, data=said).status_code == 303
    form = therapist.get(url).text
    brief = therapist.get(f"/patients/{patient_id}").text
    with read_session(site.engine) as session:
        kept = session.exec(select(Profile)).one()
    ticked = {
        name: found(form, f"[name={name}][checked]").attributes["value"] or None
        for name in FALL_QUESTIONS
    }

    assert (kept.fall_cannot_rise, kept.fall_long_lie) == ("no", None)
    assert ticked == {
        "fall_injury": "needed_care", "fall_cannot_rise": "no", "fall_long_lie": None,
        "fall_fainted": None, "frailty": "unknown",
    }  # fmt: skip
    assert "One fall in the last 12 months" in form
    assert "Injury from a fall: injury that needed care" in brief
    assert "Lay on the floor" not in brief


def test_start_of_care_counts_the_days(therapist: TestClient, patient_id: int) -> None:
    url = f"/patients/{patient_id}/episodes"
    future = therapist.post(url, data=CARE | {"version": "1", "start_on": "2026-03-03"})
    said = CARE | {"version": "1", "start_on": "2026-02-20"}
    saved = therapist.post(url, data=said)

    assert future.status_code == 422
    assert found(future.text, "#start_on-error").text()
    assert saved.status_code == 303
    assert "day 11" in therapist.get(f"/patients/{patient_id}").text


def test_profile_is_kept_shown_and_compared(
    therapist: TestClient, supervisor: TestClient, patient_id: int, site: Site
) -> None:
    url = f"/patients/{patient_id}/profile"
    first = {"prior_mobility": "alone", "matters": "baking bread", "version": "0"}
    assert therapist.post(url, data=first).status_code == 303
    told = supervisor.post(url, data=first | {"matters": "her garden"})
    brief = therapist.get(f"/patients/{patient_id}").text
    with read_session(site.engine) as session:
        kept = session.exec(select(Profile)).one()

    assert told.status_code == 409
    assert "baking bread" in found(told.text, "[role=alert]").text()
    assert found(told.text, "#matters").text() == "her garden"
    assert "baking bread" in brief
    assert (kept.prior_mobility, kept.lives_with) == ("alone", None)


@pytest.mark.parametrize(
    ("said", "field"),
    [({"lives_with": "many"}, "lives_with"), ({"matters": "x" * 501}, "matters")],
)
def test_bad_profile_keeps_what_was_typed(
    therapist: TestClient, patient_id: int, said: dict[str, str], field: str
) -> None:
    sent = {"home": "three steps", "version": "0"} | said
    answer = therapist.post(f"/patients/{patient_id}/profile", data=sent)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert found(answer.text, "#home").text() == "three steps"


def test_name_stays_when_the_site_no_longer_shows_it(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    site.settings = site.settings.model_copy(update={"identifiers": "full"})
    assert edit(therapist, patient_id, full_name="Invented Person") == 303
    site.settings = site.settings.model_copy(update={"identifiers": "minimal"})
    assert edit(therapist, patient_id, version="2", label="Red 1") == 303

    assert patient(site).full_name == "Invented Person"


def test_new_facts_change_the_stored_reading_at_once(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    done(therapist, patient_id, "timed_up_and_go", "13.8")
    with read_session(site.engine) as session:
        before = session.exec(select(Score)).one().lead_says
    assert edit(therapist, patient_id, condition="parkinson") == 303
    with read_session(site.engine) as session:
        after = session.exec(select(Score)).one().lead_says

    assert before != after


def test_each_score_is_read_as_old_as_the_stroke_was_that_day(
    sign_in_as: SignIn, patient_id: int, site: Site, clock: Clock
) -> None:
    """Scored in March and in November; then the day of the stroke is learnt."""
    therapist = sign_in_as("therapist")
    done(therapist, patient_id, "timed_up_and_go", "16.2")
    clock.move(days=250)
    therapist = sign_in_as("therapist")
    done(therapist, patient_id, "timed_up_and_go", "15.1")
    said = {"condition": "stroke", "since-stroke": "2026-02-27"}
    assert edit(therapist, patient_id, **said) == 303
    with read_session(site.engine) as session:
        patient = session.get_one(Patient, patient_id)
        fitting = [
            {
                row.fit.requires_person["time_since"][0]
                for row in (r.row for r in each.result.readings if r.match.fits)
                if isinstance(row, Norm) and "time_since" in row.fit.requires_person
            }
            for each in judged_all(session, site.catalogue, patient)
            if each.result
        ]
        differing = list(compared_all(session, site.catalogue, patient))

    assert fitting == [{"first_week"}, set()]
    assert differing == []  # what is stored was read so


def test_what_had_not_begun_is_not_read_into_an_earlier_score() -> None:
    details = PatientDetails(
        "Blue 7", conditions={"stroke": Onset(2026, 3), "copd": None}
    )
    before = person_on(details, "community", date(2026, 2, 28))
    after = person_on(details, "community", date(2026, 3, 4))

    assert before.conditions == ("copd",)
    assert after.conditions == ("stroke", "copd")
    assert after.since == {"stroke": ("first_week",)}


@pytest.mark.parametrize("since", ["2025", "2025-11", "2025-11-03"])
def test_onset_comes_back_as_it_was_said(
    therapist: TestClient, patient_id: int, since: str
) -> None:
    said = {"condition": "stroke", "since-stroke": since, "side-stroke": "right"}
    assert edit(therapist, patient_id, **said) == 303
    form = therapist.get(f"/patients/{patient_id}/edit").text
    brief = found(therapist.get(f"/patients/{patient_id}").text, "[aria-label=Who]")

    assert found(form, "[name=since-stroke]").attributes["value"] == since
    assert found(form, "[name=side-stroke] [selected]").attributes["value"] == "right"
    assert "stroke (right, since " in brief.text()


def test_order_of_an_earlier_episode_still_blocks(
    therapist: TestClient, patient_id: int
) -> None:
    assert add_order(therapist, patient_id) == 303
    closing = {"end_reason": "moved", "version": "1"}
    assert therapist.post("/episodes/1/close", data=closing).status_code == 303
    opened = therapist.post(f"/patients/{patient_id}/episodes", data=CARE)
    ready = f"/patients/{patient_id}/measures/timed_up_and_go/ready"

    assert opened.status_code == 303
    assert "Blocked." in therapist.get(ready).text
    assert "Order: " in therapist.get(f"/patients/{patient_id}").text


def test_second_episode_is_not_opened_beside_the_first(
    therapist: TestClient, supervisor: TestClient, patient_id: int, site: Site
) -> None:
    closing = {"end_reason": "moved", "version": "1"}
    therapist.post("/episodes/1/close", data=closing)
    url = f"/patients/{patient_id}/episodes"
    sent = [therapist.post(url, data=CARE).status_code for _ in range(2)]
    other = supervisor.post(url, data=CARE | {"plan": "maintain"})
    again = {"version": "2", "why": "came_back"}
    reopened = therapist.post("/episodes/1/reopen", data=again)
    with read_session(site.engine) as session:
        plans = [e.plan for e in session.exec(select(Episode)) if not e.closed_on]

    assert sent == [303, 303]
    assert (other.status_code, reopened.status_code) == (409, 409)
    assert plans == ["restore"]
