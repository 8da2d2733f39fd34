"""How a test went over the current episode: its words and its picture by days."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import partial

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.change import Change
from app.clinical.course import (
    Course,
    Kept,
    course,
    direction_words,
    maintained,
    value_in,
)
from app.clinical.measure import Measure
from app.clinical.quantities import UNIT_WORDS, rounded, words
from app.clinical.readings import better_word, worse_word
from app.clinical.scores import Score
from app.clinical.scoring import NotScorable
from app.clinical.trend import along
from app.clinical.vocabulary import OUTCOMES
from app.storage.episodes import Episode
from app.storage.patients import Patient, PatientDetails
from app.storage.trials import RoundTrials, rounds_of
from app.web.dates import day_words
from app.web.judging import body_of, made_then, pairs_by_day, person_on
from app.web.rejudging import is_known
from app.web.result_view import CHANGE_CHIP, Chip, ReadingView, reading_view
from app.web.tape import Dot, Line, TimeView, over_time

#: More attempts than this are told by their first, best and last alone.
MOST_TOLD = 12


@dataclass(frozen=True, slots=True)
class Told:
    """A score of the course in words."""

    what: str
    value: str
    day: str


@dataclass(frozen=True, slots=True)
class CourseView:
    """The episode's scores of one test, ready to print."""

    since: str
    told: tuple[Told, ...]
    chip: Chip | None
    says: str
    maintained: str
    readings: tuple[ReadingView, ...]
    direction: str
    picture: TimeView | None


def made_scores(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    details: PatientDetails,
    rounds: Sequence[RoundTrials],
    measure: Measure,
) -> dict[int, Score]:
    """By round: what its trials make, as far as they make a score."""
    others = {o: rounds_of(session, patient.id, o) for o in measure.made_from}
    return scores_made(shelf, details, rounds, measure, others)


def scores_made(
    shelf: Catalogue,
    details: PatientDetails,
    rounds: Sequence[RoundTrials],
    measure: Measure,
    others: Mapping[str, Sequence[RoundTrials]],
) -> dict[int, Score]:
    """The same of what was fetched; `others` are the rounds of the tests it needs."""
    pairs = pairs_by_day(shelf, measure, others)
    made = partial(made_then, measure, pairs, body_of(details))
    found = {}
    for kept in rounds:
        try:
            if is_known(shelf, kept.round):
                found[kept.round.id] = made(kept)
        except NotScorable:
            continue
    return found


def course_view(
    details: PatientDetails,
    episode: Episode,
    measure: Measure,
    rounds: Sequence[RoundTrials],
    made: Mapping[int, Score],
    here: Collection[int],
) -> CourseView | None:
    """The course over `episode`, whose visits are `here`; None without a result."""
    kept = [
        Kept(r.on_date, made[r.round.id], r.round.person_id)
        for r in rounds
        if r.round.id in made and r.round.visit_id in here
    ]
    found = course(measure, partial(person_on, details, episode.setting), kept)
    if found is None:
        return None
    direction = direction_words(measure, found)
    return CourseView(
        since=day_words(episode.began_on),
        told=tuple(_told(measure, found)),
        chip=_chip(found.change),
        says=found.change.says if found.change else "",
        maintained=maintained(episode.plan, found.change),
        readings=_readings(measure, found.change),
        direction=direction,
        picture=_picture(measure, found, kept, direction),
    )


def _told(measure: Measure, found: Course) -> list[Told]:
    """First, best and last; one score alone is the last."""
    last = _one("Last", measure, found.last)
    if len(found.alike) == 1:
        return [last]
    first = _one("First", measure, found.first)
    best = [k for k in found.alike if k is found.best]
    return [first, *(_one("Best", measure, k) for k in best), last]


def _one(what: str, measure: Measure, kept: Kept) -> Told:
    value = kept.score.shown
    said = OUTCOMES[kept.score.outcome]
    if value is not None:
        said = f"{words(value, kept.score.unit)} {measure.noun(value)}".strip()
    return Told(what, said, day_words(kept.day))


def _chip(change: Change | None) -> Chip | None:
    if change is None:
        return None
    kind = CHANGE_CHIP.get(change.verdict, "unsure")
    return Chip(kind, change.verdict.capitalize())


def _readings(measure: Measure, change: Change | None) -> tuple[ReadingView, ...]:
    if change is None:
        return ()
    confirmed_first = sorted(change.readings, key=lambda r: not r.confirmed)
    return tuple(reading_view(measure, r) for r in confirmed_first if r.matched)


def _picture(
    measure: Measure, found: Course, kept: Sequence[Kept], direction: str
) -> TimeView | None:
    alike = {id(k) for k in found.alike}
    tried = [k for k in kept if k.score.outcome in ("completed", "unable", "stopped")]
    dots = [_dot(found, k, id(k) in alike) for k in tried]
    span = measure.tape[found.unit]
    label = f"{_attempts(found, dots)}. {direction}"
    return over_time(
        dots,
        _line(found),
        reach=span.high - span.low,
        axis=_axis(measure, found.unit),
        label=label,
    )


def _axis(measure: Measure, unit: str) -> str:
    """`Up: longer times in s, that is slower. Across: days.`"""
    said = UNIT_WORDS[unit] or measure.noun(0)
    high_is_better = measure.better == "higher"
    side = better_word(measure) if high_is_better else worse_word(measure)
    good = "better" if high_is_better else "worse"
    return f"Up in {said}: {side}, which is {good}. Across: days."


def _dot(found: Course, kept: Kept, alike: bool) -> Dot:
    value = value_in(kept.score, found.unit)
    if value is None:
        stopped = kept.score.outcome == "stopped"
        return Dot(kept.day, None, "stopped" if stopped else "unable")
    if kept is found.last:
        return Dot(kept.day, value, "latest")
    return Dot(kept.day, value, "pin" if alike else "other")


def _line(found: Course) -> Line | None:
    if found.trend is None or found.trend.flat:
        return None
    begins, ends = along(found.points, found.trend)
    return Line(_plain(begins), _plain(ends))


def _plain(value: Fraction) -> Decimal:
    return rounded(value, 3)


def _attempts(found: Course, dots: Sequence[Dot]) -> str:
    """`3 Nov 19.4 s, 10 Nov unable, ...`; of many only the ends."""
    if len(dots) <= MOST_TOLD:
        return ", ".join(_said(found.unit, dot) for dot in dots)
    ends = f"{_said(found.unit, dots[0])}, then to {_said(found.unit, dots[-1])}"
    return f"{len(dots)} attempts from {ends}"


def _said(unit: str, dot: Dot) -> str:
    value = dot.shape if dot.value is None else words(dot.value, unit)
    away = ", not comparable" if dot.shape == "other" else ""
    return f"{day_words(dot.day)} {value}{away}"
