"""A hand-off on a phone: read aloud when asked, as it now stands, and then given."""

from datetime import datetime

import pytest

from app.storage.database import write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from tests.conftest import person_by
from tests.journeys.conftest import Phone
from tests.make import ZONE, make_precaution, make_visit

#: A voice that only remembers; each line ends as soon as the next one is asked for.
VOICE = """
  window.said = []; window.hushed = 0;
  const speaks = {
    speaking: false, pending: false, getVoices: () => [{}],
    speak(line) { this.speaking = true; said.push(line.text); window.last = line; },
    cancel() { this.speaking = false; window.hushed += 1; },
  };
  Object.defineProperty(window, 'speechSynthesis', { value: speaks });
  window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
"""


@pytest.fixture
def card(today: datetime, phone: Phone, patient_id: int) -> str:
    with write_session(phone.live.app.state.site.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        visit = make_visit(session, owner, episode, now=today, zone=ZONE)
        make_precaution(session, owner, episode, set_on=today.date())
        return f"/visits/{visit.id}/hand-off/nursing"


def test_card_speaks_only_when_asked_and_is_given(card: str, phone: Phone) -> None:
    phone.page.add_init_script(VOICE)
    phone.goto(card)
    read = phone.page.get_by_role("button", name="Read it aloud")
    read.wait_for()
    phone.axe("hand-off")
    phone.fits()
    assert phone.page.evaluate("said") == []

    phone.page.locator("#line-moves").fill("One person, walker.")
    read.tap()
    order = "Leg: toe-touch only, until it is lifted."
    assert phone.page.evaluate("said") == ["Blue 7", "One person, walker.", order]
    phone.page.get_by_role("button", name="Stop reading").tap()
    assert phone.page.evaluate("hushed") == 1
    read.tap()
    phone.page.evaluate("last.onend()")
    assert read.is_visible()

    phone.page.get_by_text("nurse", exact=True).tap()
    phone.page.get_by_text("yes", exact=True).tap()
    phone.follow(phone.page.get_by_role("button", name="It was given"))
    assert "Handed off to nurse" in phone.page.locator("#given").inner_text()


def test_card_works_without_a_voice_and_says_so(card: str, phone: Phone) -> None:
    phone.page.add_init_script("delete window.speechSynthesis")
    phone.goto(card)
    phone.page.get_by_text("This phone cannot speak: read the words out.").wait_for()

    assert phone.page.locator("[data-aloud]").is_hidden()
    assert phone.page.locator("#line-moves").is_visible()
