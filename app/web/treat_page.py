"""The page of what to treat with, for all that lead to it."""

from datetime import date
from typing import Final

from fastapi import Request
from fastapi.responses import HTMLResponse
from sqlmodel import Session

from app.clinical.assistance import LEVELS
from app.clinical.choosing import MINUTES, Today
from app.clinical.treating import PEOPLE
from app.clinical.vocabulary import ABILITIES, ROOM_ITEMS
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.safety import open_stops_of
from app.web.choosing import said_today
from app.web.deps import Form, page, site_of
from app.web.open_visit import open_visit_of
from app.web.planning import USUAL_MINUTES, may_go_against
from app.web.stops import stop_views
from app.web.treating import today_words, treat

#: What is chosen from on the form about today.
LISTS: Final = {
    "can": [("", "not said"), *ABILITIES.items()],
    "help": LEVELS,
    "people": [("", "not said"), *((str(n), w) for n, w in PEOPLE.items())],
    "minutes": [("", "enough"), *((str(n), f"{n} min") for n in MINUTES)],
    "kit": ROOM_ITEMS,
}


def treat_page(
    request: Request,
    session: Session,
    me: Person,
    patient: Patient,
    today: date,
    *,
    only: str = "",
    form: Form | None = None,
    said: Today | None = None,
    errors: dict[str, str] | None = None,
) -> HTMLResponse:
    """The page; with `form` as typed, for a search, a refused word or a reason."""
    site, typed = site_of(request), form or Form()
    asked, words = only or typed.text("deficit"), typed.text("words")
    said = said or said_today(site, me, patient, today)
    return page(
        request,
        "treat/show.html",
        status=422 if errors else 200,
        patient=patient,
        view=treat(
            session, site.catalogue, me, patient, said, today, site.zone, only=asked,
            typed=words,
        ),
        only=asked,
        typed=typed,
        said=said,
        said_words=today_words(said),
        errors=errors or {},
        may_override=may_go_against(me, patient),
        minutes_left=said.minutes or USUAL_MINUTES,
        lists=LISTS,
        open_visit=open_visit_of(request, session, patient.id),
        from_page="patient",
        stops=stop_views(
            open_stops_of(session, patient.id), me, site.catalogue, site.zone, today
        ),
    )  # fmt: skip
