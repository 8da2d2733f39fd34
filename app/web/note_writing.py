"""From a draft to a text that no longer changes, with what it was made from."""

from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from app.clinical.days import full_day
from app.clinical.note import NOTE_KINDS, as_text, in_order
from app.exports.result_json import result_json
from app.storage.episodes import Episode, Visit
from app.storage.owing import answer_clock
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.review import VisitText, write_text
from app.storage.trials import Round
from app.version import VERSION
from app.web.deps import Site
from app.web.judging import judge
from app.web.note_draft import Draft
from app.web.note_makers import REPORTS


def finish(
    session: Session, site: Site, me: Person, visit: Visit, draft: Draft, now: datetime
) -> VisitText:
    """Sign or hand in the note as it stands. Whoever calls has asked who may."""
    order = site.settings.note_order
    title = f"{NOTE_KINDS[draft.note].capitalize()}, {full_day(visit.local_date)}"
    text = write_text(
        session, me, visit, [title, *as_text(draft.written, order)], note=draft.note,
        parts=parts_of(draft, order), readings=readings_of(session, site, visit),
        edition=site.catalogue.edition, version=VERSION, now=now,
    )  # fmt: skip
    if draft.note in REPORTS:
        episode = session.get_one(Episode, visit.episode_id)
        answer_clock(session, me, episode, "report", visit.local_date, now)
    return text


def parts_of(draft: Draft, order: str) -> list[dict[str, Any]]:
    """Each line as it was made and as it was written, in the order of the text."""
    found = []
    for one in in_order(draft.written, order):
        changes = draft.lines[one.line.key].changes
        found.append(
            {
                "section": one.line.section,
                "key": one.line.key,
                "made": one.line.made,
                "text": one.final,
                "refs": [[ref.kind, ref.id] for ref in one.line.refs],
                "changed": [[change.number, change.how] for change in changes],
            }
        )
    return [part for part in found if part["made"] or part["text"]]


def readings_of(session: Session, site: Site, visit: Visit) -> list[dict[str, Any]]:
    """What each test of the visit read as, on the day the note was signed."""
    episode = session.get_one(Episode, visit.episode_id)
    patient = session.get_one(Patient, episode.patient_id)
    wanted = select(Round).where(Round.visit_id == visit.id).order_by(col(Round.id))
    found = []
    for round in session.exec(wanted):
        if round.measure not in site.catalogue.measures:
            continue
        result = judge(session, site.catalogue, patient, round).result
        if result is not None:
            told = result_json(result, site.catalogue.edition)
            found.append({"round": round.id, **told})
    return found
