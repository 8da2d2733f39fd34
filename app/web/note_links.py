"""Where the notes of a visit stand, and where the events behind a line are seen."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from sqlmodel import Session

from app.access import STUDENT
from app.clinical.note import NOTE_KINDS, Ref
from app.storage.episodes import Episode, Visit, last_visit
from app.storage.notes import edits_of
from app.storage.people import Person
from app.storage.review import decision_of, texts_of

#: The word of an event's link and its address, by kind.
EVENTS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "round": ("the test", "/rounds/{id}"),
        "goal": ("the goal", "/goals/{id}"),
        "home_sheet": ("the home sheet", "/home-sheets/{id}"),
        "trial": ("the test", "/visits/{visit}#tests"),
        "stop": ("the stop", "/visits/{visit}#tests"),
        "set": ("the activity", "/visits/{visit}#sets"),
        "task": ("the task", "/visits/{visit}#tasks"),
        "vitals": ("vital signs", "/visits/{visit}#vitals"),
        "symptoms": ("what was said", "/visits/{visit}#symptoms"),
        "minutes": ("minutes", "/visits/{visit}#minutes"),
        "exit": ("the exit list", "/visits/{visit}#exit"),
        "room": ("home and bedside", "/patients/{patient}/rooms"),
        "precaution": ("precautions", "/patients/{patient}/precautions"),
        "episode": ("the episode", "/patients/{patient}/episodes"),
        "profile": ("how they live", "/patients/{patient}/profile"),
    }
)
#: Every other kind of event stands in the visit's own order of events.
ELSE: Final = ("the record", "/visits/{visit}#timeline")
DRAFT: Final = "draft"
RETURNED: Final = "returned for change"
#: What a supervisor made of a text, as its note's state.
DECIDED: Final = {
    "returned": RETURNED, "approved": "approved", "co_signed": "co-signed",
}  # fmt: skip


def event_link(ref: Ref, visit: Visit, patient_id: int) -> tuple[str, str]:
    """Words and address of the event that a line was made from."""
    words, address = EVENTS.get(ref.kind, ELSE)
    return words, address.format(id=ref.id, visit=visit.id, patient=patient_id)


def note_path(visit: Visit, note: str) -> str:
    return f"/visits/{visit.id}/notes/{note}"


def own_note(visit: Visit) -> str:
    """The kind of note that a visit of this kind asks for."""
    return "evaluation" if "evaluation" in visit.kind else "visit"


@dataclass(frozen=True, slots=True)
class NoteLink:
    """A note as the visit's page leads to it; `primary`: it is what comes next."""

    path: str
    words: str
    primary: bool = False
    state: str = ""


def notes_of(session: Session, visit: Visit, *, mine: bool) -> list[NoteLink]:
    """What its author ends first, what the visit asks for, and whatever was begun.

    A student hands in the visit note alone, of an evaluation as well: without it nobody
    could co-sign what they did.
    """
    author = session.get_one(Person, visit.person_id)
    own = "visit" if author.role == STUDENT else own_note(visit)
    found = []
    for note in dict.fromkeys((own, own_note(visit), *NOTE_KINDS)):
        state = note_state(session, visit, note)
        if not state and note not in (own, own_note(visit)):
            continue
        words = NOTE_KINDS[note] + (f": {state}" if state else "")
        asks = note == own and mine and visit.closed_at is not None
        primary = asks and state in ("", DRAFT, RETURNED)
        words = f"Finish the {words}" if primary else words.capitalize()
        found.append(NoteLink(note_path(visit, note), words, primary, state))
    return found


def note_state(session: Session, visit: Visit, note: str) -> str:
    """How far a note is, in words; empty where nobody began it."""
    texts = texts_of(session, visit, note)
    if not texts:
        return DRAFT if edits_of(session, visit, note) else ""
    made = decision_of(session, texts[-1])
    if made is not None:
        return DECIDED[made.decision]
    return "handed in" if texts[-1].kind == "handed_in" else "signed"


def report_paths(session: Session, episode: Episode | None) -> dict[str, str]:
    """Where a progress report and the discharge summary of an episode are written."""
    visit = last_visit(session, episode) if episode else None
    return {k: note_path(visit, k) for k in ("progress", "discharge")} if visit else {}
