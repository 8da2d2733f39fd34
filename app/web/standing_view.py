"""Somebody's standing on one test in words and as a picture; their sign-offs of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.practice.attempt import Attempt
from app.practice.competence import (
    DEFAULT,
    Rule,
    Standing,
    missed_kinds,
    seconds,
    sign_off_state,
    signed,
    standing,
    tries_at,
)
from app.storage.competence import (
    BOUNDS,
    CompetenceSignOff,
    CompetenceWithdrawal,
    rule_for,
    sign_offs_of,
)
from app.storage.people import Person
from app.web.agreement_picture import ApartView, apart_picture
from app.web.dates import day_words
from app.web.practised import fault_words, judged_tests

#: How each state of a sign-off is shown: its shape, and the words.
STATES: Final = {
    "holds": ("same", "Signed off"),
    "earlier": ("unsure", "Signed off for an earlier edition of the key"),
    "expired": ("due", "The sign-off has expired"),
    "withdrawn": ("stopped", "The sign-off was withdrawn"),
}
#: The same of what a sign-off asks for.
MET: Final = {
    True: ("same", "Reached"),
    False: ("out", "Not reached yet"),
    None: ("unsure", "Cannot be told yet"),
}


@dataclass(frozen=True, slots=True)
class Difference:
    """One trial that was judged; the page of the attempt has its number."""

    attempt: int
    day: str
    key: str
    apart: str


@dataclass(frozen=True, slots=True)
class SignOffView:
    """One sign-off as it stands today, with what it rested on."""

    id: int
    state: str
    by: str
    on: str
    until: str
    edition: str
    words: str
    figures: Sequence[dict[str, str]]
    withdrawn: str


@dataclass(frozen=True, slots=True)
class StandingView:
    """One test of one person, under today's edition of the key."""

    measure: str
    name: str
    standing: Standing
    rule: Rule
    rule_is_set: bool
    picture: ApartView | None
    marks: tuple[str, ...]
    missed: tuple[tuple[str, int, int], ...]
    differences: tuple[Difference, ...]
    sign_offs: tuple[SignOffView, ...]


def rule_of(session: Session, person: Person, measure: str, edition: str) -> Rule:
    """What was set for this test and edition, else the defaults."""
    row = rule_for(session, person, measure, edition)
    return Rule(**{name: getattr(row, name) for name in BOUNDS}) if row else DEFAULT


def standing_views(
    session: Session,
    shelf: Catalogue,
    person: Person,
    attempts: Sequence[Attempt],
    edition: str,
    today: date,
) -> list[StandingView]:
    """By test: those practised under this edition, and those ever signed off."""
    offs = sign_offs_of(session, person)
    judged = judged_tests(shelf)
    measures = {a.measure for a in attempts if a.edition == edition} & set(judged)
    measures |= {row.measure for row, _ in offs}
    views = [
        _view(session, shelf, person, attempts, measure, edition, today, offs)
        for measure in measures
    ]
    return sorted(views, key=lambda view: view.name)


def _view(
    session: Session,
    shelf: Catalogue,
    person: Person,
    attempts: Sequence[Attempt],
    measure: str,
    edition: str,
    today: date,
    offs: Sequence[tuple[CompetenceSignOff, CompetenceWithdrawal | None]],
) -> StandingView:
    rule = rule_of(session, person, measure, edition)
    found = standing(attempts, measure, edition, rule)
    judged = [a for a in tries_at(attempts, measure, edition) if a.id in found.judged]
    return StandingView(
        measure=measure,
        name=name_of_test(shelf, measure),
        standing=found,
        rule=rule,
        rule_is_set=rule_for(session, person, measure, edition) is not None,
        picture=picture_of(judged, found, person.name),
        marks=_marks(found),
        missed=tuple((fault_words(k), m, n) for k, m, n in missed_kinds(judged)),
        differences=tuple(_difference(each, today) for each in judged),
        sign_offs=tuple(
            sign_off_view(session, row, ended, edition, today)
            for row, ended in offs if row.measure == measure
        ),
    )  # fmt: skip


def _difference(each: Attempt, today: date) -> Difference:
    return Difference(
        each.id,
        day_words(each.at.date(), today),
        f"{seconds(each.key_ms)} s",
        f"{signed(each.taken_ms - each.key_ms)} s",
    )


def name_of_test(shelf: Catalogue, measure: str) -> str:
    """A test may have left the catalogue since it was practised."""
    found = shelf.measures.get(measure)
    return found.name if found else measure.replace("_", " ").capitalize()


def picture_of(
    judged: Sequence[Attempt], found: Standing, who: str
) -> ApartView | None:
    if found.limits is None:
        return None
    apart = [(a.key_ms, a.taken_ms - a.key_ms) for a in judged]
    return apart_picture(apart, found.limits, who)


def _marks(found: Standing) -> tuple[str, ...]:
    """Where the difference comes from: the start, or the stop."""
    said = []
    for limits, what in ((found.starts, "started"), (found.stops, "stopped")):
        if limits is None:
            continue
        off = seconds(limits.bias.value)
        way = "late" if off > 0 else "early"
        size = f"{abs(off)} s {way}" if off else "as the key does"
        said.append(f"{what} {size} on average (SD {seconds(limits.sd)} s)")
    return tuple(said)


def sign_off_view(
    session: Session,
    row: CompetenceSignOff,
    ended: CompetenceWithdrawal | None,
    edition: str,
    today: date,
) -> SignOffView:
    withdrawn = ""
    if ended is not None:
        who = session.get_one(Person, ended.withdrawn_by).name
        on = day_words(ended.withdrawn_at.date(), today)
        withdrawn = f"Withdrawn by {who}, {on}: {ended.reason}"
    return SignOffView(
        id=row.id,
        state=sign_off_state(row.edition, edition, row.until, ended is not None, today),
        by=session.get_one(Person, row.signed_by).name,
        on=day_words(row.signed_at.date(), today),
        until=day_words(row.until, today) if row.until else "",
        edition=row.edition,
        words=row.words,
        figures=row.figures,
        withdrawn=withdrawn,
    )


def figures_of(found: Standing) -> list[dict[str, str]]:
    """What a sign-off rests on, kept with it word for word."""
    return [
        {"name": c.name, "has": c.has, "asks": c.asks, "met": MET[c.met][1]}
        for c in found.checks
    ]
