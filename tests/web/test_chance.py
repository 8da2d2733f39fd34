"""The chance section: the sentence, its picture, its source, and one's own figure."""

from dataclasses import replace

import pytest
from selectolax.lexbor import LexborHTMLParser
from starlette.testclient import TestClient

from app.web.deps import Site
from tests.conftest import found
from tests.web.bedside import done

TUG = "timed_up_and_go"


@pytest.fixture
def year_limit(site: Site) -> None:
    """A catalogue in which the leading limit counted falls within a year."""
    measure = site.catalogue.measures[TUG]
    (barry,) = [c for c in measure.cutoffs if c.source == "barry2014"]
    row = replace(barry, horizon="next_12_months")
    changed = replace(measure, cutoffs=(row,), norms=())
    site.catalogue = replace(
        site.catalogue, measures={**site.catalogue.measures, TUG: changed}
    )


def after(therapist: TestClient, patient_id: int) -> str:
    """The address of a finished round of the up and go at 14.0 s."""
    html = done(therapist, patient_id, TUG, "14.0")
    action = found(html, "#chance form").attributes["action"]
    assert action
    return action.removesuffix("/chance")


def moves(path: str | None) -> int:
    """How many figures a path draws."""
    assert path
    return path.count("M")


@pytest.mark.usefixtures("year_limit")
def test_published_chance_is_said_drawn_and_sourced(
    therapist: TestClient, patient_id: int
) -> None:
    html = therapist.get(after(therapist, patient_id)).text
    section = found(html, "#chance")
    pictures = LexborHTMLParser(html).css("#chance svg.hundred")

    assert "about 27 had one or more falls within a year" in section.text()
    assert [p.attributes["aria-label"] for p in pictures] == [
        "Before the test: 27 of 100",
        "With such a score: 31 of 100",
    ]
    for picture, had in zip(pictures, (27, 31), strict=True):
        filled, ring = picture.css_first(".had"), picture.css_first(".ring")
        assert filled
        assert ring
        assert moves(filled.attributes["d"]) == had
        assert moves(ring.attributes["d"]) == 100 - had
    assert "Will my patient fall?" in section.text()
    assert "open" not in section.attributes


def test_without_a_match_it_says_why(therapist: TestClient, patient_id: int) -> None:
    html = therapist.get(after(therapist, patient_id)).text
    section = found(html, "#chance")

    assert "No chance is given. No published base rate for such people" in (
        section.text()
    )
    assert not LexborHTMLParser(html).css("#chance svg")


def test_own_figure_is_read_and_kept(therapist: TestClient, patient_id: int) -> None:
    """From 30 % Kojima 2015 (.305/.895) makes 55 of 100."""
    url = after(therapist, patient_id)
    answer = therapist.post(f"{url}/chance", data={"pretest": "30 %"})

    assert answer.status_code == 303
    assert answer.headers["location"] == f"{url}?pretest=30#chance"
    html = therapist.get(answer.headers["location"]).text
    section = found(html, "#chance")
    assert "By your own figure 30 of 100" in section.text()
    assert "among 100 with such a score about 55" in section.text()
    assert found(html, "#pretest").attributes["value"] == "30"
    assert "open" in section.attributes


@pytest.mark.usefixtures("year_limit")
def test_emptied_figure_brings_back_the_published_one(
    therapist: TestClient, patient_id: int
) -> None:
    url = after(therapist, patient_id)
    answer = therapist.post(f"{url}/chance", data={"pretest": " "})

    assert answer.headers["location"] == url
    assert "Ganz 2007" in found(therapist.get(url).text, "#chance").text()


@pytest.mark.parametrize("typed", ["0", "100", "abc", "-3", "12,5", "1e1", "0.01", "%"])
def test_bad_figure_comes_back_beside_its_field(
    therapist: TestClient, patient_id: int, typed: str
) -> None:
    url = after(therapist, patient_id)
    answer = therapist.post(f"{url}/chance", data={"pretest": typed})

    assert answer.status_code == 422
    assert len(found(answer.text, "#pretest-error").text()) > 15
    assert found(answer.text, "#pretest").attributes["value"] == typed
    assert "14.0" in found(answer.text, ".value").text()


def test_bad_figure_in_the_address_is_refused(
    therapist: TestClient, patient_id: int
) -> None:
    url = after(therapist, patient_id)

    assert therapist.get(f"{url}?pretest=100").status_code == 422
    assert therapist.get(f"{url}?pretest=Mary").status_code == 422
    assert "Mary" not in therapist.get(f"{url}?pretest=Mary").text


def test_chance_is_no_other_source(therapist: TestClient, patient_id: int) -> None:
    url = after(therapist, patient_id)
    html = therapist.get(f"{url}?pretest=30").text

    assert html.count("By your own figure") == 1


def test_no_chance_section_for_a_test_without_fall_limit(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    measure = replace(site.catalogue.measures[TUG], cutoffs=())
    site.catalogue = replace(
        site.catalogue, measures={**site.catalogue.measures, TUG: measure}
    )
    html = done(therapist, patient_id, TUG, "14.0")

    assert not LexborHTMLParser(html).css("#chance")


def test_own_figure_is_not_asked_where_it_could_not_help(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    """A leading limit without accuracy moves no chance, whatever it starts from."""
    measure = site.catalogue.measures[TUG]
    (kang,) = [c for c in measure.cutoffs if c.source == "kang2017"]
    changed = replace(measure, cutoffs=(kang,), norms=())
    site.catalogue = replace(
        site.catalogue, measures={**site.catalogue.measures, TUG: changed}
    )
    html = done(therapist, patient_id, TUG, "14.0")

    assert "gives no sensitivity and specificity" in found(html, "#chance").text()
    assert not LexborHTMLParser(html).css("#chance form")
