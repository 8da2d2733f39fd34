"""The kit page: a tape's error, and a paper scale whose lines lie where they say."""

from decimal import Decimal

import pytest
from starlette.testclient import TestClient

from app.web.kit import CARD_MM, strips
from tests.conftest import found

MM = Decimal("25.4")


def test_every_inch_of_the_paper_scale_lies_a_true_inch_on() -> None:
    for strip in strips():
        numbered = [tick for tick in strip.inches if tick.text]

        assert [Decimal(tick.at) for tick in numbered] == [MM * n for n in range(9)]


def test_the_strips_go_on_from_each_other_in_both_units() -> None:
    first, second, third = strips()

    ends = [[t.text for t in s.inches if t.text][:: len("12345678")] for s in strips()]
    assert ends == [["0", "8"], ["8", "16"], ["16", "24"]]
    # 20.5 cm is the first half centimetre past 8 in (203.2 mm).
    assert Decimal(second.centimetres[0].at) == Decimal("205") - 8 * MM
    assert [t.text for t in first.centimetres if t.text][-1] == "20"
    assert [t.text for t in third.centimetres if t.text][-1] == "60"


def test_calibration_line_is_a_bank_card_long(therapist: TestClient) -> None:
    """ISO/IEC 7810 ID-1, 85.60 mm (from memory)."""
    page = therapist.get("/kit/scale").text
    line = found(page, "svg.card-line")
    path = found(page, "svg.card-line path").attributes["d"] or ""

    assert Decimal("85.60") == CARD_MM
    assert line.attributes["width"] == "95mm"
    assert (line.attributes["viewBox"] or "").split()[2] == "95"  # a unit is 1 mm
    assert "M4 7H89.60" in path


@pytest.mark.parametrize(
    ("known", "reads", "says"),
    [
        ("120", "119.5", "Ten feet by this tape are 120.50 in (3.061 m): 0.4 % longer"),
        ("33.7", "34", "shorter than they should be"),
        ("60", "60", "right to a tenth of a percent"),
        ("304.8cm", "120", "right to a tenth of a percent"),
    ],
)
def test_a_known_length_tells_the_tapes_error(
    therapist: TestClient, known: str, reads: str, says: str
) -> None:
    answer = therapist.get("/kit", params={"known": known, "reads": reads})

    assert says in answer.text


@pytest.mark.parametrize(("known", "reads"), [("120", ""), ("x", "9"), ("120", "60")])
def test_what_cannot_be_is_said_beside_its_field(
    therapist: TestClient, known: str, reads: str
) -> None:
    answer = therapist.get("/kit", params={"known": known, "reads": reads})

    assert answer.status_code == 422
    assert found(answer.text, "p.error").text()
    assert found(answer.text, "#known").attributes["value"] == known
