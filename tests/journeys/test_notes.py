"""A note by touch: worded line by line, kept without a network, signed and copied."""

import re
from io import BytesIO

import pytest
from playwright.sync_api import Page, Route, expect
from pypdf import PdfReader
from starlette.testclient import TestClient

from app.storage.notes import NoteEdit
from app.storage.review import VisitText
from app.web.deps import Site
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import forgive
from tests.make import PASSPHRASE
from tests.web.test_visits import LEFT_ROOM, begin, put, rows

WORDS = "the seat from 19 to 17 in."

FOOT = "Confidential. Keep or destroy by local policy."


@pytest.fixture
def note(therapist: TestClient, patient_id: int) -> str:
    url = begin(therapist, patient_id)
    put(therapist, url, "symptoms", agreed="yes", pain="3")
    put(therapist, url, "minutes", individual_minutes="30")
    put(therapist, url, "exit", all="done", **LEFT_ROOM)
    put(therapist, url, "close")
    return f"{url}/notes/visit"


def open_line(page: Page, words: str, where: str = "main") -> str:
    """Tap a line; its id."""
    line = page.locator(f"{where} .note-line", has_text=words).first
    line.locator("summary").first.tap()
    return f"#{line.get_attribute('id')}"


def leave(page: Page) -> None:
    """Go out of the field, as a thumb on the heading does."""
    page.locator("h1").tap()


def test_link_that_was_tapped_before_its_script_came_opens_its_line(
    phone: Phone, note: str
) -> None:
    """Without script it only leads there."""
    page = phone.page
    held: list[Route] = []
    page.route(re.compile(r"/note(\.\w+)?\.js"), lambda route: held.append(route))
    phone.goto(note)
    page.locator("#note-next a", has_text="2 still asked for").tap()
    expect(page.locator("details[open] textarea")).to_have_count(0)
    assert held
    for route in held:
        route.continue_()

    expect(page.locator("details[open] textarea")).to_be_focused()


def test_note_is_worded_signed_and_copied_by_touch(
    phone: Phone, note: str, site: Site
) -> None:
    page = phone.page
    phone.goto(note)
    page.locator("#note-next a", has_text="2 still asked for").tap()
    expect(page.locator("details[open] textarea")).to_be_focused()
    page.get_by_role("button", name="graded down").tap()
    expect(page.locator("[data-verb-asks]")).to_contain_text("from which grade")
    page.keyboard.type(WORDS)
    leave(page)
    expect(page.locator("#note-next")).to_contain_text("1 still asked for")
    phone.axe("worded")
    phone.fits()

    pain = open_line(page, "pain 3 of 10")
    page.fill(f"{pain} textarea", "Pain 2 of 10.")
    leave(page)
    expect(page.locator(f"{pain} .note-state")).to_contain_text("Was 3 in the record")
    page.locator(f"{pain} [data-put]", has_text="As it was made").tap()
    expect(page.locator(f"{pain} .note-state")).not_to_contain_text("in the record")
    expect(page.locator(f"{pain} textarea")).to_have_value(
        "Symptom check: agreed, pain 3 of 10."
    )

    plans = page.locator("#lines-plan .note-line").count()
    own = open_line(page, "Add a line", "#lines-plan")
    page.fill(f"{own} textarea", "Bring the stool.")
    page.get_by_label("Your own passphrase").fill(PASSPHRASE)  # leaves the field
    expect(page.locator("#lines-plan .note-line")).to_have_count(plans + 1)
    with page.expect_navigation():
        page.get_by_label("Your own passphrase").press("Enter")
    expect(page.locator("article")).to_contain_text(f"graded down {WORDS}")
    phone.axe("signed")
    phone.fits()
    (written,) = rows(site, VisitText)
    assert written.kind == "signed"

    phone.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy the whole note").tap()
    expect(page.locator("[data-copied]")).to_contain_text("Copied")
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied.startswith("Visit note. ")
    assert "\nBring the stool.\n" in copied
    page.get_by_role("button", name="Copy plan").tap()
    expect(page.locator("[data-copied]")).to_contain_text(f"Copied: {plans} lines")


def test_without_network_the_words_stay_and_go_later(
    phone: Phone, note: str, site: Site
) -> None:
    page = phone.page
    phone.goto(note)
    line = open_line(page, "What changes next session")
    phone.context.set_offline(True)
    page.fill(f"{line} textarea", "Lower seat.")
    leave(page)
    said = page.locator(f"{line} [data-said]")
    expect(said).to_contain_text("Not saved yet")
    expect(page.locator(f"{line} [data-shown]")).to_have_text("Lower seat.")
    assert rows(site, NoteEdit) == []
    phone.context.set_offline(False)
    expect(said).to_contain_text("Saved")
    assert [edit.text for edit in rows(site, NoteEdit)] == ["Lower seat."]
    forgive(phone)


def test_without_script_every_field_is_there_and_saved(
    open_phone: OpenPhone, note: str, site: Site
) -> None:
    phone = open_phone(java_script_enabled=False)
    page = phone.page
    phone.goto(note)
    for words, text in (
        ("What do these findings mean", "Graded down."),
        ("What changes next session", "Lower seat."),
    ):
        line = open_line(page, words)
        page.fill(f"{line} textarea", text)
    page.get_by_role("button", name="Save, finish later").tap()
    expect(page.locator("#lines-plan")).to_contain_text("Lower seat.")

    assert {edit.text for edit in rows(site, NoteEdit)} == {
        "Graded down.",
        "Lower seat.",
    }


def test_every_printed_page_says_whose_it_is(
    phone: Phone, note: str, therapist: TestClient
) -> None:
    """Printed to PDF on A4 and letter: the head and the number on each page."""
    page = phone.page
    own, long = f"own-{'a' * 32}", "\n".join(f"Line {n}." for n in range(90))
    said = {f"text-{own}": long, f"section-{own}": "plan", "passphrase": PASSPHRASE}
    assert therapist.post(f"{note}/sign", data=said).status_code == 303
    phone.goto(note)
    label = page.locator(".top .who").inner_text()
    for paper in ("A4", "Letter"):
        printed = PdfReader(BytesIO(page.pdf(format=paper)))
        texts = [" ".join(sheet.extract_text().split()) for sheet in printed.pages]
        assert len(texts) > 1
        for number, text in enumerate(texts, 1):
            assert FOOT in text  # which a reader of PDF meets first
            text = text.replace(FOOT, "")
            assert label in text[: len(label) + 20], text[:80]
            assert f"Page {number} of {len(texts)}" in text
        assert all(f"Line {n}." in " ".join(texts) for n in range(90))
