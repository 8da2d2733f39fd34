"""Scoring practice with one thumb: a step a screen, with and without script."""

import pytest

from app.storage.database import read_session
from app.storage.exercises import ExerciseShowing
from app.web.deps import Site
from tests.journeys.conftest import OpenPhone, Phone
from tests.web.test_exercises import answer_of, given, made_of

#: The least that a finger hits.
FINGER_PX = 48


def tap_through(phone: Phone, site: Site, here: str, seed: int, level: int) -> int:
    """Answer every step rightly but the set-up; how many taps the primaries took."""
    phone.goto(here)
    made = made_of(site, seed, "five_times_sit_to_stand", level)
    for step in made.steps:
        phone.fits()
        phone.axe(step.key)
        small_targets(phone)
        sent = answer_of(step, right=step.key != "set_up")
        said = sent["said"] if isinstance(sent["said"], list) else [sent["said"]]
        for one in said:
            phone.page.locator(f'input[name=said][value="{one}"]').check()
        if sent.get("number"):
            phone.page.locator("#number").fill(str(sent["number"]))
        phone.follow(phone.page.get_by_role("button", name="Answer"))
        phone.fits()
        phone.axe(f"{step.key} told")
        phone.follow(phone.page.locator(".thumb a.btn"))
    return len(made.steps)


def small_targets(phone: Phone) -> None:
    """Everything to answer with is large enough for a thumb."""
    small = phone.page.evaluate(
        "least => [...document.querySelectorAll('.choices label, .thumb .btn, "
        "#number')].map(e => e.getBoundingClientRect()).filter(r => r.height < least "
        "|| r.width < least).length",
        FINGER_PX,
    )
    assert small == 0


@pytest.mark.parametrize("level", [1, 4])
def test_exercise_by_thumb(phone: Phone, site: Site, level: int) -> None:
    seed = 14
    here = given(site, seed, "five_times_sit_to_stand", level)

    asked = tap_through(phone, site, here, seed, level)

    phone.fits()
    phone.axe("end")
    assert f"{asked - 1} of {asked} right" in phone.page.inner_text("h1")
    phone.follow(phone.page.get_by_role("button", name="Next exercise"))
    asks = phone.page.inner_text("h1")  # of any test
    assert asks.startswith("Which ")
    assert asks.endswith(("make the result?", "give points?"))
    with read_session(site.engine) as session:
        assert session.get(ExerciseShowing, 2) is not None


def test_start_on_a_narrow_phone_without_script(open_phone: OpenPhone) -> None:
    phone = open_phone(
        viewport={"width": 320, "height": 640}, java_script_enabled=False
    )
    phone.goto("/practice/scoring")
    phone.page.get_by_label("4: all of it").check()
    phone.page.get_by_label("Test", exact=True).select_option("timed_up_and_go")

    phone.page.get_by_role("button", name="Start").tap()

    phone.page.wait_for_url("**/practice/scoring/1")
    assert "Timed Up and Go" in phone.page.inner_text("main")
    phone.page.get_by_role("button", name="Answer").tap()
    assert "Choose an answer first" in phone.page.inner_text("#said-error")
    wide = phone.page.locator("html").bounding_box()
    assert wide is not None
    assert wide["width"] <= 320
    phone.forgive("422")  # the refused form is told to the console too
