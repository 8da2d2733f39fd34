"""What a sign-off of one test asks for, and those of an earlier key carried over."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.practice.competence import DEFAULTS, Rule
from app.storage.competence import (
    BOUNDS,
    CompetenceRule,
    as_rule,
    carry_rule,
    learners,
    rule_before,
    rule_for,
    set_rule,
)
from app.storage.errors import NotFound
from app.storage.people import Person
from app.web.dates import day_words
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    SignedIn,
    SiteDep,
    WriteSession,
    page,
    site_of,
)
from app.web.practised import key_edition, practised_tests, unit_of
from app.web.standing_view import rule_of

router = APIRouter()
#: Thresholds as they are typed: words, and how many stored units one typed has. The
#: words of the first two take the unit of the result.
FIELDS: Final[Mapping[str, tuple[str, int]]] = {
    "least_trials": ("Trials, at least", 1),
    "most_bias": ("Average difference from the key, at most ({unit})", 1000),
    "most_apart": ("Limits of agreement, both within ({unit})", 1000),
    "least_seen": ("Faults seen, at least (of 100)", 1),
    "least_kappa": ("Kappa, at least (0.01 to 1)", 100),
}


@dataclass(frozen=True, slots=True)
class Asked:
    """A test whose thresholds are looked at: its name, its unit, and that in words."""

    id: str
    name: str
    unit: str
    noun: str

    @property
    def words(self) -> dict[str, str]:
        return {key: text.format(unit=self.noun) for key, (text, _) in FIELDS.items()}


@dataclass(frozen=True, slots=True)
class Earlier:
    """What was set for the key before, to be looked at and confirmed or not."""

    id: int
    edition: str
    by: str
    lines: tuple[str, ...]


@router.get("/practice/rules/{measure_id}")
def show(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, measure_id: str
) -> HTMLResponse:
    """What a sign-off of one test asks for."""
    learners(session, me)
    asked = _test(site.catalogue, measure_id)
    rule = rule_of(session, me, measure_id, key_edition(), asked.unit)
    return _page(request, session, me, asked, _typed(rule), {})


def _test(shelf: Catalogue, measure_id: str) -> Asked:
    name = practised_tests(shelf).get(measure_id)
    if name is None:
        raise NotFound("There is no practice of such a test.")
    unit = unit_of(shelf, measure_id)
    counted = shelf.measures[measure_id].counted
    return Asked(measure_id, name, unit, counted[1] if counted else unit)


def _typed(rule: Rule) -> Form:
    """The rule as somebody would type it: 200 ms as 0.2."""
    return Form(
        (name, f"{Decimal(getattr(rule, name)) / per:f}")
        for name, (_, per) in FIELDS.items()
    )


def _page(
    request: Request, session: Session, me: Person, asked: Asked, typed: Form,
    errors: dict[str, str],
) -> HTMLResponse:  # fmt: skip
    row = rule_for(session, me, asked.id, key_edition())
    return page(
        request,
        "practice/rule.html",
        status=422 if errors else 200,
        measure=asked.id,
        name=asked.name,
        fields=asked.words,
        defaults=_typed(DEFAULTS[asked.unit]),
        set_by=_who(session, row),
        carried_from=row.carried_from if row else "",
        earlier=None if row else _earlier(request, session, me, asked),
        edition=key_edition(),
        typed=typed,
        errors=errors,
    )


def _who(session: Session, row: CompetenceRule | None) -> str:
    return session.get_one(Person, row.set_by).name if row else ""


def _earlier(
    request: Request, session: Session, me: Person, asked: Asked
) -> Earlier | None:
    """Those of the key before, while this one has none; never of another unit."""
    row = rule_before(session, me, asked.id, key_edition())
    if row is None or row.unit != asked.unit:
        return None
    typed, site = _typed(as_rule(row)), site_of(request)
    today = site.clock().astimezone(site.zone).date()
    on = day_words(row.set_at.astimezone(site.zone).date(), today)
    lines = (f"{words}: {typed.text(key)}" for key, words in asked.words.items())
    return Earlier(row.id, row.edition, f"{_who(session, row)}, {on}", tuple(lines))


@router.post("/practice/rules/{measure_id}", response_model=None)
def set_it(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now,
    measure_id: str,
) -> Response:  # fmt: skip
    """For today's edition of the key; earlier sign-offs keep what they rested on."""
    learners(session, me)
    asked = _test(site_of(request).catalogue, measure_id)
    thresholds: dict[str, int] = {}
    errors = {}
    for key in FIELDS:
        value = _threshold(form.text(key), key)
        if value is None:
            errors[key] = _bounds_words(key)
        else:
            thresholds[key] = value
    if errors:
        return _page(request, session, me, asked, form, errors)
    rule = Rule(**thresholds, unit=asked.unit)
    set_rule(session, me, measure_id, key_edition(), rule, now)
    return RedirectResponse(f"/practice/rules/{measure_id}", 303)


@router.post("/practice/rules/{measure_id}/as-before", response_model=None)
def confirm(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now,
    measure_id: str,
) -> Response:  # fmt: skip
    """Those of the key before, confirmed for this one by who has looked at them."""
    learners(session, me)
    asked = _test(site_of(request).catalogue, measure_id)
    sent = form.text("before")
    before = int(sent) if sent.isascii() and sent.isdigit() and len(sent) < 12 else 0
    earlier = rule_before(session, me, measure_id, key_edition())
    stale = earlier is None or earlier.unit != asked.unit
    if stale or form.text("edition") != key_edition():
        changed = {
            "before": "The key has changed since this page was opened. Look again."
        }
        typed = _typed(rule_of(session, me, measure_id, key_edition(), asked.unit))
        return _page(request, session, me, asked, typed, changed)
    carry_rule(session, me, measure_id, key_edition(), before, now)
    return RedirectResponse(f"/practice/rules/{measure_id}", 303)


def _threshold(text: str, key: str) -> int | None:
    """As stored; None for what is no number of it, or lies beyond its bounds."""
    if not (text.isascii() and text.replace(".", "", 1).isdigit() and len(text) < 9):
        return None
    try:
        stored = Decimal(text) * FIELDS[key][1]
    except InvalidOperation:
        return None
    low, high = BOUNDS[key]
    # Judged to two decimals of a second, so that is how they are set.
    fine = FIELDS[key][1] // 100 or 1
    return int(stored) if stored % fine == 0 and low <= stored <= high else None


def _bounds_words(key: str) -> str:
    low, high = (Decimal(end) / FIELDS[key][1] for end in BOUNDS[key])
    whole = FIELDS[key][1] == 1
    form = "A whole number" if whole else "At most two decimals"
    return f"{form}, from {low:f} to {high:f}."
