"""The drawing of a lay: at the activity's grade, inside its frame, said in words."""

import re
from dataclasses import replace
from decimal import Decimal

import pytest
from selectolax.lexbor import LexborHTMLParser
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.clinical.strip import Layout
from app.web.deps import Site
from app.web.strip_picture import WIDE, StripPicture, strip_picture, strip_pictures
from tests.conftest import found

D = Decimal
ACTIVITIES = catalogue().activities
EVERY = [
    (f"{made.id} at {grade}", picture)
    for made in ACTIVITIES.values()
    for grade in sorted({made.grade.easiest, made.grade.start, made.grade.hardest})
    for picture in strip_pictures(made, grade)
]


def drawn(site: Site, picture: StripPicture) -> LexborHTMLParser:
    module = site.templates.get_template("activities/_layout.html").module
    return LexborHTMLParser(module.strip_drawing(picture))  # type: ignore[attr-defined]


def points(path: str) -> list[tuple[float, float]]:
    """Where an absolute path of straight pieces goes."""
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_shipped_activities_are_drawn() -> None:
    assert len(EVERY) > 100


@pytest.mark.parametrize("picture", [p for _, p in EVERY], ids=[n for n, _ in EVERY])
def test_strip_and_words_stay_inside_the_frame(picture: StripPicture) -> None:
    for x, y in points(picture.path):
        assert 0 <= x <= WIDE
        assert 0 <= y <= picture.height
    for word in picture.labels:
        wide = 10.5 * len(word.words)
        left = {"start": 0.0, "middle": wide / 2, "end": wide}[word.anchor]
        assert word.x - left >= -1
        assert word.x - left + wide <= WIDE + 8, word
        assert 14 <= word.y <= picture.height


def test_ring_grows_with_its_grade() -> None:
    clock = ACTIVITIES["T01"]
    small, large = (strip_pictures(clock, D(n))[0] for n in (8, 19))

    assert "8 in" in [w.words for w in small.labels]
    assert "19 in" in [w.words for w in large.labels]
    assert small.says.startswith("Ring, 8 in radius: 50 in of the strip")


def test_narrower_lane_is_drawn_narrower() -> None:
    def high(gap: int) -> float:
        ys = [y for _, y in points(strip_picture(lane(gap), "k").path)]
        return max(ys) - min(ys)

    def lane(gap: int) -> Layout:
        return Layout("lane", length=D(52), gap=D(gap))

    assert high(16) > high(12) > high(8)
    assert high(1) > 15  # two lines, however narrow


def test_marks_are_numbered_in_order_from_zero() -> None:
    line = Layout("line", length=D(60), marks=(D(12), D(30), D(48)))
    numbers = [w for w in strip_picture(line, "k").labels if w.words in "123"]

    assert [w.words for w in numbers] == ["1", "2", "3"]
    assert [w.x for w in numbers] == sorted(w.x for w in numbers)


def test_marks_too_near_for_a_number_are_still_said() -> None:
    line = Layout("line", length=D(120), marks=(D(10), D(12)))
    picture = strip_picture(line, "k")

    assert [w.words for w in picture.labels if w.words in "12"] == ["1"]
    assert "marks at 10 and 12 in" in picture.says


def test_every_six_inches_has_its_line() -> None:
    line = strip_picture(Layout("line", length=D(36)), "k")

    assert line.ticks.count("M") == 6 + 2  # one of them is the far end


@pytest.mark.parametrize(
    ("layout", "seen"),
    [
        (Layout("ring", radius=D(12)), "from above"),
        (Layout("vertical", "wall", length=D(24)), "from the side"),
        (Layout("line", "wall", length=D(24)), "from the front"),
        (Layout("loop", "hand", round=D(48)), "as it is held"),
    ],
    ids=lambda v: v.shape if isinstance(v, Layout) else "",
)
def test_title_says_from_where_it_is_seen(layout: Layout, seen: str) -> None:
    assert strip_picture(layout, "k").title == f"How the strip lies, seen {seen}"


def test_screen_reader_is_told_all_of_it(site: Site) -> None:
    picture = strip_pictures(ACTIVITIES["T01"], D(12))[0]
    page = drawn(site, picture)
    svg = page.css_first("svg[role=img]")
    assert svg is not None
    told = (svg.attributes["aria-labelledby"] or "").split()
    words = [node.text() for name in told for node in page.css(f"[id='{name}']")]

    assert words == [picture.title, picture.says]
    assert [n.text() for n in page.css("figcaption")] == [picture.says]
    assert "style=" not in (page.html or "")


def test_several_lays_have_ids_of_their_own() -> None:
    keys = [p.key for p in strip_pictures(ACTIVITIES["T03"], D(1))]

    assert len(keys) == len(set(keys)) == 2


def test_nothing_is_drawn_where_no_strip_is_laid() -> None:
    bare = replace(ACTIVITIES["T01"], layouts=(Layout("none"),))

    assert strip_pictures(bare, D(12)) == []


def test_without_its_note_the_drawing_speaks_to_the_helper() -> None:
    noted, plain = (
        strip_pictures(ACTIVITIES["R04"], D(2), noted=said)[0].says
        for said in (True, False)
    )

    assert noted.startswith(plain)
    assert "therapist" in noted
    assert "therapist" not in plain


def test_card_draws_the_lay_at_the_grade_shown(
    therapist: TestClient, patient_id: int
) -> None:
    card = f"/patients/{patient_id}/activities/T01"
    shown = {
        grade: found(therapist.get(f"{card}?grade={grade}").text, ".lay figcaption")
        for grade in (12, 13)
    }

    assert shown[12].text().startswith("Ring, 12 in radius: 75 in of the strip")
    assert shown[13].text().startswith("Ring, 13 in radius: 82 in of the strip")
