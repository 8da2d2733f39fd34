"""Visits, stops and falls, goals and orders of an episode's picture."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from app.clinical.goals import CLOSES, one_line
from app.clinical.precautions import PRECAUTIONS
from app.clinical.quantities import UNIT_WORDS
from app.clinical.timeline_rows import (
    TICK_GAP_EM,
    BarView,
    Happened,
    RowView,
    Stretch,
    bar,
    row,
)
from app.clinical.visiting import KINDS, NOT_DONE
from app.storage.episodes import Visit
from app.storage.goal_rows import GoalRow
from app.storage.goals import body_of
from app.storage.precautions import PrecautionOnEpisode
from app.storage.safety import Stop
from app.web.care_facts import Care, Facts
from app.web.dates import day_words
from app.web.goal_book import goal_of
from app.web.stops import happened, stop_name


@dataclass(frozen=True, slots=True)
class CareBar:
    """A goal or an order: its words, how it stands, and the stretch of its days."""

    words: str
    stands: str
    bar: BarView
    link: str


@dataclass(frozen=True, slots=True)
class Said:
    """A stop or a fall in words, so that nobody has to look for it in the table."""

    day: str
    words: str


def happening_rows(care: Care, facts: Facts) -> tuple[list[RowView], list[Said]]:
    """Rows of visits, stops and falls; the last two in words, newest first."""
    stopped = [stop for stop in care.stops if stop.row.outcome == "stopped"]
    stops = [(stop, _stop_fact(care, facts, stop)) for stop in stopped]
    falls = [
        Happened(fact, stop.on_date, "fall") for stop, fact in stops if _fell(stop)
    ]
    falls += list(_falls_said(care, facts))
    found = [
        row("Visits", care.span, list(_held(care, facts)), gap=TICK_GAP_EM),
        row("Missed", care.span, list(_missed(care, facts))),
        row("Stops", care.span, [Happened(f, s.on_date, "stopped") for s, f in stops]),
        row("Falls", care.span, sorted(falls, key=lambda fall: fall.day)),
    ]
    told = {f.key: f for f in facts.rows}
    keys = dict.fromkeys([*(fact for _, fact in stops), *(fall.fact for fall in falls)])
    said = [told[key] for key in keys]
    newest = sorted(said, key=lambda fact: (fact.day, fact.key), reverse=True)
    last = care.span.last
    return (
        [r for r in found if r.marks],
        [Said(day_words(f.day, last), f"{f.what}: {f.words}") for f in newest],
    )


def _held(care: Care, facts: Facts) -> Iterator[Happened]:
    for visit in care.held:
        fact = facts.add(
            visit.local_date, "Visit", KINDS[visit.kind], visit_id=visit.id
        )  # fmt: skip
        yield Happened(fact, visit.local_date, "visit")


def _missed(care: Care, facts: Facts) -> Iterator[Happened]:
    for visit in care.visits:
        if visit.kind == "missed":
            fact = facts.add(
                visit.local_date, "Missed visit", _why(visit), visit_id=visit.id
            )  # fmt: skip
            yield Happened(fact, visit.local_date, "missed")


def _why(visit: Visit) -> str:
    said = [NOT_DONE.get(visit.missed_reason or "", "the reason was not noted")]
    if visit.missed_again:
        said.append(f"again: {visit.missed_again}")
    return "; ".join(said)


def _stop_fact(care: Care, facts: Facts, stop: Stop) -> int:
    told = happened(stop) or "what happened was not noted"
    words = f"{stop_name(care.shelf, stop, short=False)}: {told}"
    return facts.add(stop.on_date, "Stopped for safety", words)


def _fell(stop: Stop) -> bool:
    return stop.answers.what == "fell"


def _falls_said(care: Care, facts: Facts) -> Iterator[Happened]:
    for _, visit in care.falls:
        fact = facts.add(
            visit.local_date, "Fall", "since the visit before, said on this day",
            visit_id=visit.id,
        )  # fmt: skip
        yield Happened(fact, visit.local_date, "fall")


def goal_bars(care: Care, facts: Facts) -> tuple[list[CareBar], dict[int, int]]:
    """Each goal's days; and by goal the fact that says when it is due."""
    dues: dict[int, int] = {}
    bars = []
    for goal in care.goals:
        marks = list(_goal_marks(care, facts, goal))
        dues[goal.id] = next(m.fact for m in marks if m.shape == "goal")
        ends = goal.closed_on or goal.by_date
        stretch = Stretch(goal.set_on, ends, tuple(marks))
        bars.append(
            CareBar(
                f"{goal.number}. {_line(care, goal)}", _stands(care, goal),
                bar(care.span, stretch), f"/goals/{goal.id}",
            )
        )  # fmt: skip
    return bars, dues


def _line(care: Care, goal: GoalRow) -> str:
    measure = care.shelf.measures.get(goal.measure or "")
    return one_line(goal_of(body_of(goal)), measure)


def _goal_marks(care: Care, facts: Facts, goal: GoalRow) -> Iterator[Happened]:
    what, line = f"Goal {goal.number}", _line(care, goal)
    yield Happened(facts.add(goal.set_on, f"{what}: set", line), goal.set_on, "set")
    number, unit = _number(goal)
    due = facts.add(goal.by_date, f"{what}: due", line, number=number, unit=unit)
    yield Happened(due, goal.by_date, "goal")
    if goal.closed_on is not None and goal.close_word is not None:
        word = CLOSES[goal.close_word]
        fact = facts.add(goal.closed_on, f"{what}: {word}", goal.close_reason or line)
        shape = "met" if goal.close_word == "met" else "ended"
        yield Happened(fact, goal.closed_on, shape)


def _number(goal: GoalRow) -> tuple[str, str]:
    """The target as a number and its unit; a level of help is none."""
    if goal.kind == "times":
        return str(goal.times), f"of {goal.out_of}"
    if goal.target_value is None:
        return "", ""
    return goal.target_value, UNIT_WORDS[goal.target_unit or "count"]


def _stands(care: Care, goal: GoalRow) -> str:
    if goal.closed_on is not None and goal.close_word is not None:
        on = day_words(goal.closed_on, care.span.last)
        return f"{CLOSES[goal.close_word].capitalize()} {on}"
    open_ = "Open" if goal.signed_at else "Open, not signed"
    late = goal.by_date < care.span.last
    return f"{open_}, past its day" if late else open_


def order_bars(care: Care, facts: Facts) -> list[CareBar]:
    """Orders and risks that held on some day of the picture, as they were set."""
    return [_order(care, facts, held) for held in care.precautions]


def _order(care: Care, facts: Facts, held: PrecautionOnEpisode) -> CareBar:
    known = PRECAUTIONS[held.tag]
    kind = "Order" if known.kind == "order" else "Risk"
    note = f": {held.note}" if held.note else ""
    words = f"{known.label}{note}"
    marks = [Happened(facts.add(held.set_on, f"{kind} set", words), held.set_on, "set")]
    stands = f"{kind}, holds since {_day(care, held.set_on)}"
    if held.ended_on is not None:
        fact = facts.add(held.ended_on, f"{kind} lifted", held.end_note or words)
        marks.append(Happened(fact, held.ended_on, "ended"))
        stands = f"{kind}, {_day(care, held.set_on)} to {_day(care, held.ended_on)}"
    stretch = Stretch(held.set_on, held.ended_on, tuple(marks))
    link = f"/patients/{care.patient.id}/precautions"
    return CareBar(words, stands, bar(care.span, stretch), link)


def _day(care: Care, day: date) -> str:
    return day_words(day, care.span.last)
