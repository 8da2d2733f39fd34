"""Agreement and competence on a phone and a desk: they fit, and axe finds nothing."""

import pytest

from app.storage.database import write_session
from app.web.deps import Site
from app.web.practised import key_edition
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone
from tests.make_practice import MEASURE, practise_well


@pytest.fixture
def practised(site: Site) -> int:
    """Two raters with 20 shared trials each; the student's number."""
    with write_session(site.engine) as session:
        student = person_by(session, "student")
        practise_well(session, student, key_edition(),
                      offs=(150, 260, 40, 180, 90))  # fmt: skip
        practise_well(session, person_by(session, "colleague"), key_edition(),
                      offs=(-420, 310, 20))  # fmt: skip
    return student.id


@pytest.mark.parametrize("width", [320, 390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_fit_and_are_accessible(
    open_phone: OpenPhone, practised: int, width: int, scheme: str
) -> None:
    size = {"viewport": {"width": width, "height": 844}, "color_scheme": scheme}
    for who, path in (
        ("student", "/practice/progress"),
        ("supervisor", f"/practice/agreement?measure={MEASURE}"),
        ("supervisor", f"/practice/people/{practised}"),
        ("supervisor", f"/practice/rules/{MEASURE}"),
    ):
        phone = open_phone(who, **size)
        phone.goto(path)
        phone.page.evaluate(
            "document.querySelectorAll('details').forEach(d => d.open = "
            "!d.classList.contains('menu'))"
        )
        phone.fits()
        phone.axe(f"{path} at {width}, {scheme}")
