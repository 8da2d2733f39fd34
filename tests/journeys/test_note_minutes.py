"""How long a note takes from a finished visit to its signature, by its touches.

Times of a practised hand after the keystroke-level model (Card SK, Moran TP, Newell A.
Commun ACM 1980;23:396-410; its numbers from memory): a keystroke 0.28 s at 40 words a
minute, pointing 1.1 s, a decision 1.35 s. A touch is taken as pointing and a press of
0.1 s (common practice). Each line
and what stands under it is read once, at 238 words a minute (Brysbaert
M. J Mem Lang 2019;109:104047; from memory).
"""

import re
from dataclasses import dataclass, field
from uuid import uuid4

import pytest
from playwright.sync_api import Locator, expect
from starlette.testclient import TestClient

from app.storage.review import VisitText
from app.web.deps import Site
from tests.journeys.conftest import Phone
from tests.journeys.test_notes import leave, open_line
from tests.make import PASSPHRASE
from tests.web.test_services import SELF_CARE, STANDING, name_three
from tests.web.test_visits import LEFT_ROOM, begin, put, rows

KEY, POINT, DECIDE, PRESS, WORD = 0.28, 1.1, 1.35, 0.1, 60 / 238
#: Three minutes for a whole note.
MOST_SECONDS = 180
SKILL = "the seat, since both hands were needed; guarded at the belt."
RESPONSE = "Rose with less push by the end; tires late in the day."
NEXT = "Lower seat if two clean sets; twice a week until the toilet is safe alone."


@dataclass
class Hand:
    """What the thumb and the eyes do; each step's seconds are kept."""

    phone: Phone
    steps: list[tuple[str, float]] = field(default_factory=list)
    typed: list[str] = field(default_factory=list)

    def tap(self, target: Locator, decides: bool = True) -> None:
        target.tap()
        self.took("tap", decides * DECIDE + POINT + PRESS)

    def type(self, words: str) -> None:
        self.phone.page.keyboard.type(words)
        self.typed.append(words)
        self.took("type", len(words) * KEY)

    def read(self, where: str) -> None:
        words = " ".join(self.phone.page.locator(where).all_inner_texts()).split()
        self.took("read", len(words) * WORD)

    def took(self, what: str, seconds: float) -> None:
        self.steps.append((what, seconds))

    def seconds(self, what: str = "") -> float:
        return sum(s for kind, s in self.steps if not what or kind == what)


@pytest.fixture
def note(therapist: TestClient, patient_id: int, site: Site) -> str:
    """The note of a closed visit with a test, three sets, a task and its minutes."""
    name_three(site)
    url = begin(therapist, patient_id)
    put(therapist, url, "symptoms", agreed="yes", pain="3", dizzy="no", fell="no")
    put(therapist, url, "vitals", position="sitting", systolic="128", diastolic="74",
        heart_rate="78")  # fmt: skip
    test = f"/patients/{patient_id}/measures/timed_up_and_go/ready"
    ready = therapist.post(test, data={"uid": uuid4().hex, "ok": "all"})
    stand = ready.headers["location"].partition("?")[0]
    for raw in ("14200", "14000", "13900"):
        said = {"uid": uuid4().hex, "raw_ms": raw, "outcome": "completed"}
        assert therapist.post(f"{stand}/trials", data=said).status_code == 303
    for _ in range(3):
        done = {"uid": uuid4().hex, "outcome": "done", "reps": "8", "errors": "0"}
        sets = f"/patients/{patient_id}/activities/S01/sets"
        assert therapist.post(sets, data=done).status_code == 303
    put(therapist, url, "tasks", task="kitchen", level="stand_by", cue_kind="verbal",
        device_kind="none")  # fmt: skip
    assert put(therapist, url, "services", **{STANDING: "24", SELF_CARE: "8"}) == 303
    put(therapist, url, "exit", all="done", **LEFT_ROOM)
    assert put(therapist, url, "close") == 303
    return f"{url}/notes/visit"


def test_note_is_signed_within_three_minutes_and_no_number_is_typed(
    phone: Phone, note: str, site: Site
) -> None:
    page, hand = phone.page, Hand(phone)
    phone.goto(note.removesuffix("/notes/visit"))
    with page.expect_navigation():
        hand.tap(page.locator(f"a[href='{note}']").first)
    hand.read(".note-shown, .note-state")
    for asked, words, verb in (
        ("took a therapist's skill", SKILL, "modified because"),
        ("How did the person respond", RESPONSE, ""),
        ("What changes next session", NEXT, ""),
    ):
        open_line(page, asked)
        hand.took("tap", DECIDE + POINT + PRESS)
        if verb:
            hand.tap(page.get_by_role("button", name=verb))
        hand.took("decide", 3 * DECIDE)  # what to say
        hand.type(words)
        leave(page)
    expect(page.locator("#note-next")).not_to_contain_text("still asked for")
    hand.tap(page.get_by_label("Your own passphrase"))
    hand.type(PASSPHRASE)
    with page.expect_navigation():
        hand.tap(page.get_by_role("button", name="Sign", exact=True))
    (written,) = rows(site, VisitText)

    told = ", ".join(f"{w} {hand.seconds(w):.0f} s" for w in ("read", "type", "tap"))
    print(f"\nnote from visit to signature, modelled: {hand.seconds():.0f} s ({told})")
    print("\n".join(written.lines))
    assert written.kind == "signed"
    assert "14.0 s" in "\n".join(written.lines)
    assert not any(re.search(r"\d", words) for words in hand.typed[:-1])
    assert hand.seconds() <= MOST_SECONDS
