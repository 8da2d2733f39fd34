"""Stances in order, cuff readings, walks over a course, tests made from others."""

from uuid import uuid4

import pytest
from selectolax.lexbor import LexborHTMLParser
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.storage.database import read_session
from app.storage.scores import Score
from app.storage.trials import Round, Trial
from app.web.deps import Site
from tests.conftest import found
from tests.web.bedside import a_round, begin, done, send

STANCES, CUFF, WALK = "four_stage_balance", "orthostatic_vitals", "gait_speed"
STANDS, BATTERY, POWER = (
    "five_times_sit_to_stand",
    "short_physical_performance_battery",
    "sit_to_stand_power",
)


def trials(site: Site) -> list[Trial]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Trial).order_by(col(Trial.id))))


def score(site: Site, measure: str) -> Score | None:
    with read_session(site.engine) as session:
        wanted = select(Score).where(Score.measure == measure)
        return session.exec(wanted.order_by(col(Score.id).desc())).first()


def texts(html: str, css: str) -> list[str]:
    nodes = LexborHTMLParser(html).css(css)
    return [" ".join(n.text(separator=" ").split()) for n in nodes]


def value(html: str) -> str:
    return texts(html, ".value")[0]


class TestStances:
    def test_each_opens_the_next_and_says_how_it_is_taken_up(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        url = a_round(therapist, patient_id, STANCES)
        stages = site.catalogue.measures[STANCES].stages
        shows = site.catalogue.measures[STANCES].guide.show
        for number, (stage, show) in enumerate(zip(stages, shows, strict=True), 1):
            page = therapist.get(url).text
            head = found(page, "h1.stage").text()
            assert f"stage {number} of 4" in " ".join(head.split())
            assert stage.label.capitalize() in head
            assert show in found(page, "[data-stage-show]").text()
            assert found(page, "form.timer").attributes["data-ceiling"] == "10"
            assert send(therapist, url, raw_ms="10000").status_code == 303

        page = therapist.get(url).text
        assert value(page) == "4 stages"
        assert "One-leg stance: 10.0 s" in page

    def test_missed_stance_ends_the_test(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        page = done(therapist, patient_id, STANCES, "10", "9.9")

        assert value(page) == "1 stage"
        assert "semi-tandem stance: 9.9 s" in page
        assert not LexborHTMLParser(page).css("form.timer")

    def test_same_stance_posted_twice_opens_one_stance_only(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        url = a_round(therapist, patient_id, STANCES)
        same = uuid4().hex
        for _ in range(2):
            therapist.post(f"{url}/trials", data={"uid": same, "raw_ms": "10000"})

        assert len(trials(site)) == 1
        assert "Semi-tandem" in found(therapist.get(url).text, "h1.stage").text()

    def test_stance_that_cannot_be_taken_up_ends_it_with_the_stages_held(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, STANCES)
        send(therapist, url, raw_ms="10000")
        assert "Could not take it up: the test ends" in therapist.get(url).text
        send(therapist, url, outcome="unable", reason="physical")

        page = therapist.get(url).text
        assert value(page) == "1 stage"
        assert any("semi-tandem stance: unable" in line for line in texts(page, "li"))

    def test_first_stance_not_taken_up_is_unable_and_no_zero(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, STANCES)
        send(therapist, url, outcome="unable", reason="physical")

        assert value(therapist.get(url).text) == "Unable"

    def test_practice_takes_no_stance(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, STANCES)
        send(therapist, url, raw_ms="4000", practice="yes")

        assert "Side-by-side" in found(therapist.get(url).text, "h1.stage").text()


def reading(**more: str) -> dict[str, str]:
    told = {"input-when": "lying", "count": "142", "input-diastolic": "80"}
    return {**told, "outcome": "completed", **more}


class TestCuff:
    def test_readings_make_a_fall_that_is_called_one(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, CUFF)
        for when, upper in (("lying", "142"), ("standing_1", "118")):
            told = reading(count=upper, **{"input-when": when, "input-pulse": "70"})
            assert send(therapist, url, **told).status_code == 303
        assert "reading 3 of 3" in found(therapist.get(url).text, "form.cuff h1").text()
        told = {"input-when": "standing_3", "input-symptoms": "yes"}
        send(therapist, url, **reading(count="121", **told))

        page = therapist.get(url).text
        assert value(page) == "24 mmHg fall"
        assert "larger fall" in page
        assert "standing, 1 minute: 118/80 mmHg, pulse 70" in page
        assert "121/80 mmHg, dizzy, light-headed" in page
        assert "standing_3" not in found(page, "section.card").text()

    def test_pressure_that_rises_is_no_fall(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, CUFF, variant="one_reading")
        send(therapist, url, **reading())
        send(therapist, url, **reading(count="148", **{"input-when": "standing_1"}))

        assert value(therapist.get(url).text) == "-6 mmHg (no fall)"

    @pytest.mark.parametrize(
        ("wrong", "field"),
        [
            ({"input-when": ""}, "input-when"),
            ({"input-when": "flying"}, "input-when"),
            ({"count": "1420"}, "count"),
            ({"count": "abc"}, "count"),
            ({"input-diastolic": "8"}, "input-diastolic"),
            ({"input-pulse": "fast"}, "input-pulse"),
        ],
    )
    def test_refused_field_keeps_all_that_was_typed(
        self,
        therapist: TestClient,
        patient_id: int,
        site: Site,
        wrong: dict[str, str],
        field: str,
    ) -> None:
        url = a_round(therapist, patient_id, CUFF)
        told = reading(**{"input-pulse": "71", "input-symptoms": "yes"} | wrong)
        answer = send(therapist, url, **told)

        assert answer.status_code == 422
        assert len(found(answer.text, f"#{field}-error").text()) > 15
        for name in ("count", "input-diastolic", "input-pulse"):
            assert found(answer.text, f"#{name}").attributes["value"] == told[name]
        assert "checked" in found(answer.text, "[name=input-symptoms]").attributes
        assert trials(site) == []

    def test_red_button_asks_for_no_reading(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, CUFF)
        send(therapist, url, **reading())
        assert send(therapist, url, outcome="stopped").status_code == 303

        assert found(therapist.get(url).text, "#make-safe")

    def test_what_the_readings_tell_is_not_asked(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        page = therapist.get(f"/patients/{patient_id}/measures/{CUFF}/ready").text

        assert 'name="fact-arm_support"' in page
        assert 'name="fact-reached"' not in page
        assert 'name="fact-start"' not in page


class TestWalk:
    def test_without_a_course_it_is_refused_beside_the_field(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        answer = begin(therapist, patient_id, WALK, **{"fact-pace": "fast"})

        assert answer.status_code == 422
        assert "say which" in found(answer.text, "#fact-course-error").text()
        fast = found(answer.text, "[name=fact-pace][value=fast]")
        assert "checked" in fast.attributes

    def test_two_walks_over_ten_feet_are_a_speed(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, WALK, **{"fact-course": "10ft"})
        for ms in ("4000", "4240"):
            send(therapist, url, raw_ms=ms)

        assert value(therapist.get(url).text) == "0.74 m/s"

    def test_help_names_sources_as_people_cite_them(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        page = therapist.get(f"/patients/{patient_id}/measures/{WALK}/ready").text
        sources = site.catalogue.measures[WALK].sources

        assert "krumpoch2021" not in page
        assert f"({sources['krumpoch2021'].short})" in page


@pytest.mark.parametrize(
    ("measure", "key", "follows"),
    [
        ("turn_360", "direction", ("toward", "affected", "unaffected")),
        ("single_leg_stance", "leg", ("leg_side", "affected", "other")),
        ("tandem_stance", "rear_foot", ("rear_kind", "preferred", None)),
    ],
)
def test_other_side_is_one_tap_away(
    therapist: TestClient,
    patient_id: int,
    measure: str,
    key: str,
    follows: tuple[str, str, str | None],
    site: Site,
) -> None:
    name, before, after = follows
    facts = {f"fact-{key}": "right", f"fact-{name}": before}
    url = a_round(therapist, patient_id, measure, variant="single", **facts)
    send(therapist, url, raw_ms="3100")
    assert "Now the other side" in therapist.get(url).text
    other = a_round(therapist, patient_id, measure, same="yes", swap=key)
    send(therapist, other, raw_ms="3300")

    made = score(site, measure)
    assert made is not None
    with read_session(site.engine) as session:
        kept = dict(session.get_one(Round, made.round_id).facts)
    assert kept[key] == "left"
    assert kept.get(name) == after


def parts(client: TestClient, patient_id: int, course: str = "4m") -> None:
    done(client, patient_id, STANCES, "10", "10", "6.5")
    walk = a_round(client, patient_id, WALK, **{"fact-course": course})
    for seconds in ("5.1", "5.3"):
        send(client, walk, typed=seconds)


class TestBattery:
    def test_missing_part_says_what_and_leads_there(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, BATTERY)
        parts(therapist, patient_id)
        page = therapist.get(url).text

        assert "2 of 3 parts are there" in page
        lines = texts(page, ".people li")
        assert "Balance part 2 stages" in lines[0]
        assert "Chair part not done today Do it now." in lines[2]
        link = LexborHTMLParser(page).css(".people a")[2].attributes["href"]
        assert link
        note = therapist.get(link).text
        assert "A part of: Short physical performance battery" in note

    def test_last_part_makes_the_total_and_leads_back(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        url = a_round(therapist, patient_id, BATTERY)
        parts(therapist, patient_id)
        page = done(therapist, patient_id, STANDS, "14.2")
        assert found(page, f'a[href="{url}"]').text().startswith("Back to")
        page = therapist.get(url).text

        assert value(page) == "8 points"
        for said in ("Balance part: 3", "Walk part: 3", "Chair part: 2"):
            assert f"{said} points" in page
        kept = score(site, BATTERY)
        assert kept is not None
        assert (kept.value, kept.unit) == ("8", "points")

    def test_begun_after_its_parts_it_has_its_total_at_once(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        parts(therapist, patient_id)
        done(therapist, patient_id, STANDS, "14.2")
        a_round(therapist, patient_id, BATTERY)

        kept = score(site, BATTERY)
        assert kept is not None
        assert kept.value == "8"

    def test_wrong_course_is_refused_in_the_words_of_the_form(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        url = a_round(therapist, patient_id, BATTERY)
        parts(therapist, patient_id, course="10ft")
        done(therapist, patient_id, STANDS, "14.2")
        line = texts(therapist.get(url).text, ".people li")[1]

        assert "no published points for timed course: 10 ft" in line
        assert "timed course: 3 m or 4 m or 8 ft" in line
        assert score(site, BATTERY) is None

    def test_part_that_could_not_be_done_is_worth_nothing(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        url = a_round(therapist, patient_id, BATTERY)
        parts(therapist, patient_id)
        stands = a_round(therapist, patient_id, STANDS)
        send(therapist, stands, outcome="unable", reason="physical")
        page = therapist.get(url).text

        assert value(page) == "6 points"
        assert "Chair part: 0 points" in page

    def test_part_that_was_declined_leaves_the_total_open(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        url = a_round(therapist, patient_id, BATTERY)
        parts(therapist, patient_id)
        stands = a_round(therapist, patient_id, STANDS)
        send(therapist, stands, outcome="declined", why="tired")
        line = texts(therapist.get(url).text, ".people li")[2]

        assert "declined, so the total stays open" in line
        assert score(site, BATTERY) is None

    def test_time_posted_to_it_is_refused(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        url = a_round(therapist, patient_id, BATTERY)

        assert send(therapist, url, raw_ms="9000").status_code == 422
        assert trials(site) == []


def test_power_asks_for_the_height_with_a_way_to_it(
    therapist: TestClient, patient_id: int
) -> None:
    facts = {"fact-seat_height": "17", "unit-seat_height": "in"}
    stands = a_round(therapist, patient_id, STANDS, variant="single", **facts)
    send(therapist, stands, raw_ms="14200")
    page = therapist.get(a_round(therapist, patient_id, POWER)).text

    assert "Still missing: the body height." in page
    assert found(page, f'a[href="/patients/{patient_id}/edit"]')
