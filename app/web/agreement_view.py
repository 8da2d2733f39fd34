"""How well a team times and scores the same trials: each by the key, and together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
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
    SCOPE,
    Standing,
    kappa_words,
    standing,
    tries_at,
)
from app.practice.rating import PairKappa, Together, together
from app.practice.scale import SCALES, Scale
from app.practice.splits import parts_of
from app.storage.competence import learners
from app.storage.errors import NotFound
from app.storage.people import Person
from app.web.agreement_picture import ApartView
from app.web.deps import Now, ReadSession, SignedIn, SiteDep, Zone, page
from app.web.practised import key_edition, practised_tests, shared_in_world, unit_of
from app.web.row_words import row_words, whom
from app.web.standing_view import part_words, picture_of, rule_of, rule_words
from app.web.team_lines import check_line, in_check, team_checks

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Rater:
    """One person against the key."""

    id: int
    name: str
    standing: Standing
    picture: ApartView | None
    valid: str
    faults: str
    parts: tuple[str, ...]


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
    undecided: int
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
    tests = practised_tests(site.catalogue)
    chosen = _chosen(measure, tests, shared)
    checks = team_checks(session, me, chosen)
    tries = in_check(tries_at(shared, chosen, edition), checks.get(check))
    names = {person.id: person.name for person in people}
    unit = unit_of(site.catalogue, chosen)
    found = together(tries, unit)
    return page(
        request,
        "practice/agreement.html",
        people=people,
        tests=tests,
        chosen=chosen,
        raters=_raters(session, site.catalogue, me, tries, chosen, names),
        found=found,
        team=_team(found, names, SCALES[unit]),
        pairs=[_pair(pair, names) for pair in found.pairs if pair.trials],
        published=published_rows(site.catalogue, chosen),
        least=(LEAST_TRIALS, LEAST_TARGETS, LEAST_DECISIONS),
        scope=SCOPE,
        rule_from=rule_words(session, me, chosen, edition) if chosen else "",
        edition=edition,
        checks=[check_line(session, row, now, zone) for row in checks.values()],
        check=check if check in checks else 0,
    )


def _chosen(measure: str, tests: Mapping[str, str], shared: Sequence[Attempt]) -> str:
    """The one asked for; else the one that most was shared of."""
    if measure:
        if measure not in tests:
            raise NotFound("There is no practice of such a test.")
        return measure
    count = {test: sum(a.measure == test for a in shared) for test in tests}
    return max(tests, key=lambda test: count[test], default="")


def _raters(
    session: Session,
    shelf: Catalogue,
    me: Person,
    tries: Sequence[Attempt],
    measure: str,
    names: Mapping[int, str],
) -> list[Rater]:
    """By name; who no longer works here is still among the raters."""
    edition = key_edition()
    rule = rule_of(session, me, measure, edition, unit_of(shelf, measure))
    splits = shelf.measures[measure].splits if tries else ()
    raters = []
    for number in {a.person for a in tries}:
        mine = [a for a in tries if a.person == number]
        found = standing(mine, measure, edition, rule)
        judged = [a for a in mine if a.id in found.judged]
        name = _name(number, names)
        by_key = {check.key: check.has for check in found.checks}
        raters.append(
            Rater(number, name, found, picture_of(judged, found, name),
                  by_key["valid"], by_key["faults"],
                  part_words(parts_of(judged, splits)))
        )  # fmt: skip
    return sorted(raters, key=lambda rater: (rater.name.lower(), rater.id))


def _name(number: int, names: Mapping[int, str]) -> str:
    return names.get(number, "Somebody who left")


def _team(found: Together, names: Mapping[int, str], scale: Scale) -> dict[str, str]:
    """The team's figures in words; empty where nothing is claimed.

    No least real change is told of raters who never differ: it would be none at all.
    """
    return {
        "result": scale.result,
        "who": ", ".join(_name(number, names) for number in found.raters),
        "icc": _icc(found.icc) if found.icc else "",
        "sem": scale.amount(found.error.sem) if found.error else "",
        "mdc": scale.amount(found.error.mdc95)
        if found.error and scale.amount(found.error.sem) != scale.amount(0)
        else "",
    }


def _icc(icc: Interval) -> str:
    """Three decimals: with simulated trials it lies close to 1."""
    if not icc.told:
        return f"{icc.value:.3f} (all alike; no interval can be given)"
    value, low, high = (f"{x:.3f}".replace("-", "\u2212") for x in
                        (icc.value, icc.low, min(icc.high, 1.0)))  # fmt: skip
    return f"{value} (95 % interval {low} to {high})"


def _pair(pair: PairKappa, names: Mapping[int, str]) -> PairLine:
    return PairLine(
        f"{_name(pair.one, names)} and {_name(pair.other, names)}",
        pair.trials,
        pair.undecided,
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
