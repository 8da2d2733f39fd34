"""The tests of an episode's picture: every result at its day, by the readers' words."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from app.clinical.course import RESULTS, Course, Kept, course_without_slope, value_in
from app.clinical.goals import target_short
from app.clinical.measure import Cutoff, Measure
from app.clinical.quantities import SHOWN_PLACES, UNIT_WORDS, words
from app.clinical.reading import Result
from app.clinical.readings import better_word
from app.clinical.scores import Score
from app.clinical.timeline_lanes import (
    Error,
    Lane,
    Limit,
    Point,
    Rise,
    Target,
    lane_view,
)
from app.clinical.vocabulary import OUTCOMES, UNABLE_REASONS
from app.storage.goals import body_of
from app.storage.trials import RoundTrials
from app.web.care_facts import Care, Facts
from app.web.care_lanes import NOT_TRIED, CareLane, KeyLine, row_of
from app.web.course_view import scores_made
from app.web.dates import day_words
from app.web.goal_book import goal_of
from app.web.judging import body_of as sizes_of
from app.web.judging import judged, pairs_by_day, person_on
from app.web.result_view import CHANGE_CHIP, Chip
from app.web.score_tape import ABOUT, error_size, in_score_unit, short_source
from app.web.tape.scale import scale_for

#: Heights of the plot in em: of a course, and of one result alone.
COURSE_EM, ONE_EM = 8.0, 4.5


@dataclass(frozen=True, slots=True)
class _Test:
    """One test's results in the episode, oldest first, each with its round."""

    care: Care
    measure: Measure
    kept: Sequence[tuple[RoundTrials, Kept]]
    made: Mapping[int, Score]

    @property
    def found(self) -> Course | None:
        setting = self.care.episode.setting
        who = partial(person_on, self.care.details, setting)
        return course_without_slope(self.measure, who, [k for _, k in self.kept])


def score_lanes(
    care: Care, facts: Facts, dues: Mapping[int, int]
) -> list[CareLane]:  # fmt: skip
    """Those with a course first, then the newest first. `dues`: facts by goal."""
    tests = sorted(_tests(care), key=_turn)
    return [_lane(test, facts, dues) for test in tests]


def _turn(test: _Test) -> tuple[bool, int, str]:
    newest = test.kept[-1][1].day
    return len(test.kept) < 2, -newest.toordinal(), test.measure.name


def _tests(care: Care) -> Iterator[_Test]:
    here = care.here
    for key, rounds in care.rounds.items():
        mine = [r for r in rounds if r.round.visit_id in here]
        if not mine:
            continue
        measure = care.shelf.measures[key]
        made = scores_made(
            care.shelf, care.details, mine, measure, _others(care, measure)
        )
        kept = [
            (r, Kept(r.on_date, made[r.round.id], r.round.person_id))
            for r in mine
            if r.round.id in made
        ]
        if kept:
            yield _Test(care, measure, kept, made)


def _others(care: Care, measure: Measure) -> dict[str, Sequence[RoundTrials]]:
    return {other: care.rounds.get(other, ()) for other in measure.made_from}


def _lane(test: _Test, facts: Facts, dues: Mapping[int, int]) -> CareLane:
    care, measure, found = test.care, test.measure, test.found
    unit = found.unit if found else measure.units[0]
    points = [_point(test, found, unit, facts, *each) for each in test.kept]
    points = _said_once(points)
    numbered = any(p.value is not None for p in points)
    lane, key = (
        _drawn(test, found, unit, points, facts, dues) if numbered else (None, ())
    )
    says = _says(measure, test, found)
    return CareLane(
        name=measure.name,
        link=f"/patients/{care.patient.id}/measures/{measure.id}",
        says=says,
        chip=_chip(found),
        view=lane_view(care.span, lane) if lane else None,
        row=None if lane else row_of(care, points),
        key=key,
        label=f"{measure.name} by days. {says}",
    )


def _point(
    test: _Test,
    found: Course | None,
    unit: str,
    facts: Facts,
    rounds: RoundTrials,
    kept: Kept,
) -> Point:
    value, shape = value_in(kept.score, unit), _shape(found, kept)
    said = "" if value is None else str(value)
    fact = facts.add(
        kept.day, test.measure.name, "; ".join(_words(found, kept, unit)), number=said,
        unit="" if value is None else _unit(test.measure, value, unit),
        visit_id=rounds.round.visit_id,
    )  # fmt: skip
    joined = value is not None and shape != "other"
    says = said or OUTCOMES[kept.score.outcome]
    return Point(fact, kept.day, value, shape, says, joined)


def _said_once(points: Sequence[Point]) -> list[Point]:
    """Of what has no number only the last of its kind keeps its word."""
    last = {p.shape: p.fact for p in points if p.value is None}
    return [
        p if p.value is not None or last[p.shape] == p.fact else p._replace(says="")
        for p in points
    ]


def _unit(measure: Measure, value: Decimal, unit: str) -> str:
    return UNIT_WORDS[unit] or measure.noun(value)


def _shape(found: Course | None, kept: Kept) -> str:
    """The latest with a number is the filled one, where it is the latest result too."""
    if kept.score.value is None:
        known = ("unable", "stopped")
        return kept.score.outcome if kept.score.outcome in known else NOT_TRIED
    if found and kept is found.last:
        return "latest"
    alike = found is not None and any(kept is k for k in found.alike)
    return "pin" if alike else "other"


def _words(found: Course | None, kept: Kept, unit: str) -> Iterator[str]:
    score = kept.score
    if score.value is None:
        reason = UNABLE_REASONS.get(score.reason, score.reason)
        yield (
            f"{OUTCOMES[score.outcome]}: {reason}"
            if reason
            else OUTCOMES[score.outcome]
        )
    elif score.shown is not None and score.unit != unit:
        yield f"entered as {words(score.shown, score.unit)}"
    if found is None:
        return
    if kept is found.last:
        yield "the latest result"
    for other, differs in found.others:
        if other is kept:
            yield f"does not compare with the latest: {', '.join(differs)}"


def _drawn(
    test: _Test,
    found: Course | None,
    unit: str,
    points: Sequence[Point],
    facts: Facts,
    dues: Mapping[int, int],
) -> tuple[Lane, tuple[KeyLine, ...]]:
    """The lane with its limit, its error and its targets, and what those are."""
    limit, error, key = _references(test, found, unit, points, facts)
    goals = list(_targets(test, unit, dues))
    values = [p.value for p in points if p.value is not None]
    values += [t.value for t in goals] + ([limit.value] if limit else [])
    lane = Lane(
        rise=_rise(test.measure, unit, values, alone=len(test.kept) == 1),
        points=tuple(points),
        targets=tuple(goals),
        limit=limit,
        error=error,
        up=f"\u2191 {better_word(test.measure)}",
    )
    return lane, (*key, *(KeyLine("goal", goal.words) for goal in goals))


def _rise(
    measure: Measure, unit: str, values: Sequence[Decimal], *, alone: bool
) -> Rise:
    """A tenth of the test's usual tape stays free at both ends.

    So a small wobble does not look like a leap. What is counted has whole numerals.
    """
    span, whole = measure.tape[unit], SHOWN_PLACES[unit] == 0
    free = max((span.high - span.low) / 10, Decimal(whole))
    low, high = min(values) - free, max(values) + free
    if min(values) >= 0:
        low = max(low, Decimal(0))
    scale = scale_for(low, high, values)
    height = ONE_EM if alone else COURSE_EM
    step = max(scale.step, Decimal(1)) if whole else scale.step
    return Rise(scale.low, scale.high, step, measure.better, height)


def _references(
    test: _Test,
    found: Course | None,
    unit: str,
    points: Sequence[Point],
    facts: Facts,
) -> tuple[Limit | None, Error | None, tuple[KeyLine, ...]]:
    """The limit that leads for the newest number, and the error round the latest."""
    place = max(n for n, p in enumerate(points) if p.value is not None)
    result = _judged(test, test.kept[place][0])
    if result is None:
        return None, None, ()
    limit, key = _limit(test, result, unit, points[place], facts)
    if points[place].shape != "latest":
        return limit, None, key
    error, more = _error(test, result, found, unit, points[place], facts)
    return limit, error, (*key, *more)


def _judged(test: _Test, newest: RoundTrials) -> Result | None:
    """The one reading function, asked about one round."""
    care, measure = test.care, test.measure
    pairs = pairs_by_day(care.shelf, measure, _others(care, measure))
    person = person_on(care.details, care.episode.setting, newest.on_date)
    rounds = care.rounds[measure.id]
    return judged(
        measure, newest, rounds, person, pairs, sizes_of(care.details)
    ).result  # fmt: skip


def _limit(
    test: _Test, result: Result, unit: str, newest: Point, facts: Facts
) -> tuple[Limit | None, tuple[KeyLine, ...]]:
    lead = result.leading
    if lead is None or lead.threshold is None or not isinstance(lead.row, Cutoff):
        return None, ()
    value = in_score_unit(lead.threshold, lead.unit, unit)
    if value is None or lead.row.fit.quantity != "score":
        return None, ()
    about = f"{ABOUT[lead.row.outcome_type]}, {short_source(result, lead)}"
    fact = facts.add(
        newest.day, f"{test.measure.name}: limit",
        f"{about}; leads for the score of {day_words(newest.day)}",
        number=str(value), unit=_unit(test.measure, value, unit),
    )  # fmt: skip
    crossed = bool(lead.crossed)
    line = KeyLine("crossed" if crossed else "cutoff", f"{words(value, unit)}: {about}")
    return Limit(fact, value, crossed), (line,)


def _error(
    test: _Test,
    result: Result,
    found: Course | None,
    unit: str,
    latest: Point,
    facts: Facts,
) -> tuple[Error | None, tuple[KeyLine, ...]]:
    """None where no confirmed error that fits was published, or nothing compares."""
    size = error_size(result.change, unit) or error_size(
        found.change if found else None, unit
    )
    if size is None or latest.value is None:
        return None, ()
    fact = facts.add(
        latest.day, f"{test.measure.name}: error",
        "either way of the latest: measuring alone can explain so much",
        number=str(size), unit=_unit(test.measure, size, unit),
    )  # fmt: skip
    line = KeyLine("error", f"{words(size, unit)} either way: measuring alone")
    return Error(fact, latest.value - size, latest.value + size), (line,)


def _targets(test: _Test, unit: str, dues: Mapping[int, int]) -> Iterator[Target]:
    for row in test.care.goals:
        target = goal_of(body_of(row)).target
        if target.measure != test.measure.id or target.value is None:
            continue
        value = in_score_unit(target.value, target.unit, unit)
        if value is not None:
            by = day_words(row.by_date, test.care.span.last)
            said = f"Goal {row.number}: {target_short(target, test.measure)}, by {by}"
            yield Target(dues[row.id], row.set_on, row.by_date, value, said)


def _says(measure: Measure, test: _Test, found: Course | None) -> str:
    """`First 19.4 s, 3 Nov; last 16.2 s, 24 Nov.`: of those that compare."""
    if found is None:
        tried = test.kept[-1][1]
        return f"No result: {OUTCOMES[tried.score.outcome]}, {day_words(tried.day)}."
    last = f"{_value(measure, found.last)}, {day_words(found.last.day)}"
    if len(found.alike) < 2:
        others = [k for _, k in test.kept if k.score.outcome in RESULTS]
        alone = "" if len(others) == 1 else " Nothing before compares with it."
        return f"{last}.{alone}"
    first = f"{_value(measure, found.first)}, {day_words(found.first.day)}"
    return f"First {first}; last {last}."


def _value(measure: Measure, kept: Kept) -> str:
    value = kept.score.shown
    if value is None:
        return OUTCOMES[kept.score.outcome]
    return f"{words(value, kept.score.unit)} {measure.noun(value)}".strip()


def _chip(found: Course | None) -> Chip | None:
    """From the first to the last of those that compare."""
    if found is None or found.change is None:
        return None
    verdict = found.change.verdict
    return Chip(CHANGE_CHIP.get(verdict, "unsure"), verdict.capitalize())
