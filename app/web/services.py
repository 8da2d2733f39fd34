"""The site's own services, for its supervisors: add one, offer it or no longer."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.units import RULES
from app.storage.people import Person
from app.storage.services import (
    LONGEST_NAME,
    NameTaken,
    add_service,
    managed_services,
    switch_service,
)
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    page,
    site_of,
)

router = APIRouter()
KINDS = (
    ("timed", "timed: its minutes count toward units"),
    ("untimed", "untimed: kept out of the timed minutes"),
)


@router.get("/services")
def show(request: Request, me: SignedIn, session: ReadSession) -> HTMLResponse:
    return _page(request, session, me, Form(), {})


def _page(
    request: Request, session: Session, me: Person, typed: Form, errors: dict[str, str]
) -> HTMLResponse:
    return page(
        request,
        "services/list.html",
        status=422 if errors else 200,
        services=managed_services(session, me),
        rule=RULES[site_of(request).settings.units_rule],
        kinds=KINDS,
        longest=LONGEST_NAME,
        typed=typed,
        errors=errors,
    )


@router.post("/services", response_model=None)
def add(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now
) -> Response:
    managed_services(session, me)
    name, kind = form.text("name"), form.text("kind")
    errors = {}
    if not 1 <= len(name) <= LONGEST_NAME:
        errors["name"] = f"1 to {LONGEST_NAME} letters; these are {len(name)}."
    if kind not in dict(KINDS):
        errors["kind"] = "Timed or untimed?"
    if not errors:
        try:
            add_service(session, me, name=name, timed=kind == "timed", now=now)
        except NameTaken as taken:
            errors["name"] = taken.sentence
    if errors:
        return _page(request, session, me, form, errors)
    return RedirectResponse("/services", 303)


@router.post("/services/{service_id}", response_model=None)
def switch(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    service_id: RowId,
) -> Response:
    """Offer a service again, or no longer."""
    on = form.text("active") == "yes"
    try:
        switch_service(session, me, service_id, on=on, now=now)
    except NameTaken as taken:
        return _page(request, session, me, Form(), {"switch": taken.sentence})
    return RedirectResponse("/services", 303)
