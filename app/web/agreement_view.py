"""How well a team times and scores the same trials: each by the key, and together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.vocabulary import HOWS
from app.practice.agreement import (
    LEAST_DECISIONS,
    LEAST_TARGETS,
    LEAST_TRIALS,
    Interval,
)
from app.practice.attempt import Attempt
from app.practice.competence import (
    DEFAULT,
    SCOPE,
    Rule,
    Standing,
    kappa_words,
    seconds,
    standing,
    tries_at,
)
from app.practice.rating import PairKappa, Together, together
from app.storage.competence import BOUNDS, learners, rule_for, set_rule
from app.storage.errors import NotFound
from app.storage.people import Person
from app.web.agreement_picture import ApartView
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
    site_of,
)
from app.web.practised import judged_tests, key_edition, shared_in_world, unjudged_words
from app.web.row_words import row_words, whom
from app.web.standing_view import picture_of, rule_of
from app.web.team_lines import check_line, in_check, team_checks

router = APIRouter()
#: Thresholds as they are typed: name, words, and how many stored units one typed has.
FIELDS: Final[Mapping[str, tuple[str, int]]] = {
    "least_trials": ("Trials, at least", 1),
    "most_bias_ms": ("Average difference from the key, at most (s)", 1000),
    "most_apart_ms": ("Limits of agreement, both within (s)", 1000),
    "least_seen": ("Faults seen, at least (of 100)", 1),
    "least_kappa": ("Kappa, at least (0.01 to 1)", 100),
}


@dataclass(frozen=True, slots=True)
class Rater:
    """One person against the key."""

    id: int
    name: str
    standing: Standing
    picture: ApartView | None
    valid: str
    faults: str


@dataclass(frozen=True, slots=True)
class Published:
    """A published row on the error of repeating, as the catalogue has it."""

    says: str
    whom: str
    population: str
    source: str
    how: str


@dataclass(frozen=True, slots=True)
class PairLine:
    """Two raters' decisions in words."""

    who: str
    trials: int
    valid: str
    faults: str


@router.get("/practice/agreement")
def show(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep,
    now: Now, zone: Zone, measure: str = "", check: int = 0,
) -> HTMLResponse:  # fmt: skip
    """From what was shared; test and team check go by id, which names nobody."""
    people = learners(session, me)
    edition = key_edition()
    shared = [a for a in shared_in_world(session, me) if a.edition == edition]
    tests = judged_tests(site.catalogue)
    chosen = _chosen(measure, tests, shared)
    checks = team_checks(session, me, chosen)
    tries = in_check(tries_at(shared, chosen, edition), checks.get(check))
    names = {person.id: person.name for person in people}
    found = together(tries)
    return page(
        request,
        "practice/agreement.html",
        people=people,
        tests=tests,
        chosen=chosen,
        raters=_raters(session, me, tries, chosen, edition, names),
        found=found,
        team=_team(found, names),
        pairs=[_pair(pair, names) for pair in found.pairs if pair.trials],
        published=published_rows(site.catalogue, chosen),
        least=(LEAST_TRIALS, LEAST_TARGETS, LEAST_DECISIONS),
        scope=SCOPE,
        unjudged=unjudged_words(site.catalogue),
        edition=edition,
        checks=[check_line(session, row, now, zone) for row in checks.values()],
        check=check if check in checks else 0,
    )


def _chosen(measure: str, tests: Mapping[str, str], shared: Sequence[Attempt]) -> str:
    """The one asked for; else the one that most was shared of."""
    if measure:
        if measure not in tests:
            raise NotFound("There is no timed practice of such a test.")
        return measure
    count = {test: sum(a.measure == test for a in shared) for test in tests}
    return max(tests, key=lambda test: count[test], default="")


def _raters(
    session: Session,
    me: Person,
    tries: Sequence[Attempt],
    measure: str,
    edition: str,
    names: Mapping[int, str],
) -> list[Rater]:
    """By name; who no longer works here is still among the raters."""
    rule = rule_of(session, me, measure, edition)
    raters = []
    for number in {a.person for a in tries}:
        mine = [a for a in tries if a.person == number]
        found = standing(mine, measure, edition, rule)
        judged = [a for a in mine if a.id in found.judged]
        name = _name(number, names)
        by_key = {check.key: check.has for check in found.checks}
        raters.append(
            Rater(number, name, found, picture_of(judged, found, name),
                  by_key["valid"], by_key["faults"])
        )  # fmt: skip
    return sorted(raters, key=lambda rater: (rater.name.lower(), rater.id))


def _name(number: int, names: Mapping[int, str]) -> str:
    return names.get(number, "Somebody who left")


def _team(found: Together, names: Mapping[int, str]) -> dict[str, str]:
    """The team's figures in words; empty where nothing is claimed."""
    return {
        "who": ", ".join(_name(number, names) for number in found.raters),
        "icc": _icc(found.icc) if found.icc else "",
        "sem": f"{seconds(found.error.sem)} s" if found.error else "",
        "mdc": f"{seconds(found.error.mdc95)} s" if found.error else "",
    }


def _icc(icc: Interval) -> str:
    """Three decimals: with simulated trials it lies close to 1."""
    value, low, high = (f"{x:.3f}".replace("-", "\u2212") for x in
                        (icc.value, icc.low, min(icc.high, 1.0)))  # fmt: skip
    return f"{value} (95 % interval {low} to {high})"


def _pair(pair: PairKappa, names: Mapping[int, str]) -> PairLine:
    return PairLine(
        f"{_name(pair.one, names)} and {_name(pair.other, names)}",
        pair.trials,
        kappa_words(pair.valid) if pair.valid else "cannot be told",
        kappa_words(pair.faults) if pair.faults else "cannot be told",
    )


def published_rows(shelf: Catalogue, measure_id: str) -> list[Published]:
    """The rows on agreement and error of this test's own file, as printed there."""
    measure = shelf.measures.get(measure_id)
    if measure is None:
        return []
    return [
        Published(
            row_words(row).rstrip(": "), whom(measure, row.fit),
            f"{row.population}{f', n = {row.n}' if row.n else ''}",
            measure.sources[row.source].short, HOWS[row.how],
        )
        for row in measure.reliability
    ]  # fmt: skip


@router.get("/practice/rules/{measure_id}")
def show_rule(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, measure_id: str
) -> HTMLResponse:
    """What a sign-off of one test asks for."""
    learners(session, me)
    name = _test(site.catalogue, measure_id)
    rule = rule_of(session, me, measure_id, key_edition())
    return _rule_page(request, session, me, measure_id, name, _typed(rule), {})


def _test(shelf: Catalogue, measure_id: str) -> str:
    name = judged_tests(shelf).get(measure_id)
    if name is None:
        raise NotFound("There is no timed practice of such a test.")
    return name


def _typed(rule: Rule) -> Form:
    """The rule as somebody would type it: 200 ms as 0.2."""
    return Form(
        (name, f"{Decimal(getattr(rule, name)) / per:f}")
        for name, (_, per) in FIELDS.items()
    )


def _rule_page(
    request: Request, session: Session, me: Person, measure_id: str, name: str,
    typed: Form, errors: dict[str, str],
) -> HTMLResponse:  # fmt: skip
    row = rule_for(session, me, measure_id, key_edition())
    return page(
        request,
        "practice/rule.html",
        status=422 if errors else 200,
        measure=measure_id,
        name=name,
        fields={key: words for key, (words, _) in FIELDS.items()},
        defaults=_typed(DEFAULT),
        set_by=session.get_one(Person, row.set_by).name if row else "",
        edition=key_edition(),
        typed=typed,
        errors=errors,
    )


@router.post("/practice/rules/{measure_id}", response_model=None)
def set_it(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now,
    measure_id: str,
) -> Response:  # fmt: skip
    """For today's edition of the key; earlier sign-offs keep what they rested on."""
    learners(session, me)
    name = _test(site_of(request).catalogue, measure_id)
    thresholds: dict[str, int] = {}
    errors = {}
    for key in FIELDS:
        value = _threshold(form.text(key), key)
        if value is None:
            errors[key] = _bounds_words(key)
        else:
            thresholds[key] = value
    if errors:
        return _rule_page(request, session, me, measure_id, name, form, errors)
    set_rule(session, me, measure_id, key_edition(), thresholds, now)
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
