"""Somebody's standing on one test in words and as a picture; their sign-offs of it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.practice.agreement import Limits
from app.practice.attempt import Attempt
from app.practice.competence import (
    DEFAULTS,
    Rule,
    Standing,
    missed_kinds,
    results,
    sign_off_state,
    standing,
    tries_at,
)
from app.practice.make_safe import LATE_MS
from app.practice.scale import SCALES, Scale
from app.practice.splits import PartFigures, parts_of
from app.storage.competence import (
    CompetenceSignOff,
    CompetenceWithdrawal,
    as_rule,
    rule_before,
    rule_for,
    sign_offs_of,
)
from app.storage.people import Person
from app.web.agreement_picture import ApartView, apart_picture
from app.web.dates import day_words
from app.web.practised import fault_words, practised_tests, unit_of

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
    way: str
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
    rule_from: str
    picture: ApartView | None
    marks: tuple[str, ...]
    parts: tuple[str, ...]
    missed: tuple[tuple[str, int, int], ...]
    differences: tuple[Difference, ...]
    sign_offs: tuple[SignOffView, ...]
    presses: tuple[str, ...] = ()


def press_words(
    tried: Sequence[Attempt], measure: str, edition: str
) -> tuple[str, ...]:
    """Practised stops too many, too few and out of time; no sign-off asks for them."""
    counts = Counter(
        a.press for a in tried if a.measure == measure and a.edition == edition
    )
    told = {
        "not_asked": "Stopped without cause: {} trial{}, where nobody needed a hand.",
        "too_early": "Stopped before anything was to be seen: {} trial{}.",
        "missed": "A stop was asked for and not pressed: {} trial{}.",
        "late": f"Stopped more than {LATE_MS // 1000} s after a hand was laid on: "
        "{} trial{}.",
    }
    return tuple(
        words.format(counts[press], "s" if counts[press] != 1 else "")
        for press, words in told.items()
        if counts[press]
    )


def rule_of(
    session: Session, person: Person, measure: str, edition: str, unit: str
) -> Rule:
    """What was set for this test and edition, else the defaults of its unit."""
    row = rule_for(session, person, measure, edition)
    return as_rule(row) if row and row.unit == unit else DEFAULTS[unit]


def rule_words(session: Session, person: Person, measure: str, edition: str) -> str:
    """Where the thresholds come from; an earlier key's never hold by themselves."""
    row = rule_for(session, person, measure, edition)
    if row is not None and row.carried_from:
        return "as before, confirmed by a supervisor for this key"
    if row is not None:
        return "set by a supervisor"
    before = rule_before(session, person, measure, edition)
    if before is not None:
        return (
            f"common practice; those set for edition {before.edition} of the key were "
            "not carried over"
        )
    return "common practice; no supervisor has set others"


def standing_views(
    session: Session,
    shelf: Catalogue,
    person: Person,
    attempts: Sequence[Attempt],
    edition: str,
    today: date,
    zone: ZoneInfo,
    *,
    stopped: Sequence[Attempt],
) -> list[StandingView]:
    """By test: those practised under this edition, and those ever signed off.

    `stopped`: attempts that were stopped to make safe, which `attempts` has not.
    """
    offs = sign_offs_of(session, person)
    tried = (*attempts, *stopped)
    measures = {a.measure for a in tried if a.edition == edition}
    measures &= set(practised_tests(shelf))
    measures |= {row.measure for row, _ in offs}
    views = [
        replace(
            _view(
                session, shelf, person, attempts, measure, edition, today, zone, offs
            ),
            presses=press_words(tried, measure, edition),
        )
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
    zone: ZoneInfo,
    offs: Sequence[tuple[CompetenceSignOff, CompetenceWithdrawal | None]],
) -> StandingView:
    rule = rule_of(session, person, measure, edition, unit_of(shelf, measure))
    found = standing(attempts, measure, edition, rule)
    judged = [a for a in tries_at(attempts, measure, edition) if a.id in found.judged]
    return StandingView(
        measure=measure,
        name=name_of_test(shelf, measure),
        standing=found,
        rule=rule,
        rule_from=rule_words(session, person, measure, edition),
        picture=picture_of(judged, found, person.name),
        marks=_marks(found),
        parts=part_words(parts_of(judged, _part_names(shelf, measure))),
        missed=_missed(judged[-found.decided :]),
        differences=tuple(_difference(a, rule.scale, today, zone) for a in judged),
        sign_offs=tuple(
            sign_off_view(session, row, ended, edition, today, zone)
            for row, ended in offs if row.measure == measure
        ),
    )  # fmt: skip


def _missed(decided: Sequence[Attempt]) -> tuple[tuple[str, int, int], ...]:
    return tuple((fault_words(k), m, n) for k, m, n in missed_kinds(decided))


#: How a trial was taken, in a table.
WAYS: Final = {"watched": "watched", "words": "read in words", "": "not kept"}


def _difference(each: Attempt, scale: Scale, today: date, zone: ZoneInfo) -> Difference:
    beside = each.beside(scale.unit)
    return Difference(
        each.id,
        day_words(each.at.astimezone(zone).date(), today),
        WAYS[each.way],
        scale.one(beside.key) if beside else "",
        scale.one(beside.off, apart=True) if beside else f"not {scale.done}",
    )


def _part_names(shelf: Catalogue, measure: str) -> Sequence[str]:
    found = shelf.measures.get(measure)
    return found.splits if found else ()


def part_words(parts: Sequence[PartFigures]) -> tuple[str, ...]:
    """Each part of a test: early or late, and how much it varies."""
    return tuple(_part(part) for part in parts)


def _part(part: PartFigures) -> str:
    if part.limits is None:
        return f"{part.name}: marked {part.marked} times so far; told from 10 on"
    return f"{part.name}: {_late(part.limits)}, n = {part.marked}"


def _late(limits: Limits) -> str:
    """`0.15 s late on average (SD 0.05 s)`."""
    scale, off = SCALES["s"], limits.bias.value
    size = scale.amount(off)
    at = (
        "as the key does"
        if size == scale.amount(0)
        else (f"{size} {'late' if off > 0 else 'early'}")
    )
    return f"{at} on average (SD {scale.amount(limits.sd)})"


def name_of_test(shelf: Catalogue, measure: str) -> str:
    """A test may have left the catalogue since it was practised."""
    found = shelf.measures.get(measure)
    return found.name if found else measure.replace("_", " ").capitalize()


def picture_of(
    judged: Sequence[Attempt], found: Standing, who: str
) -> ApartView | None:
    if found.limits is None:
        return None
    apart = [(b.key, b.off) for _, b in results(judged, found.scale.unit)][-found.n :]
    return apart_picture(apart, found.limits, who, found.scale)


def _marks(found: Standing) -> tuple[str, ...]:
    """Where the difference comes from: the start, or the stop."""
    marks = ((found.starts, "started"), (found.stops, "stopped"))
    return tuple(f"{what} {_late(limits)}" for limits, what in marks if limits)


def sign_off_view(
    session: Session,
    row: CompetenceSignOff,
    ended: CompetenceWithdrawal | None,
    edition: str,
    today: date,
    zone: ZoneInfo,
) -> SignOffView:
    withdrawn = ""
    if ended is not None:
        who = session.get_one(Person, ended.withdrawn_by).name
        on = day_words(ended.withdrawn_at.astimezone(zone).date(), today)
        withdrawn = f"Withdrawn by {who}, {on}: {ended.reason}"
    return SignOffView(
        id=row.id,
        state=sign_off_state(row.edition, edition, row.until, ended is not None, today),
        by=session.get_one(Person, row.signed_by).name,
        on=day_words(row.signed_at.astimezone(zone).date(), today),
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
