"""The steps about sources: which one fits best, and whether the change is real."""

from typing import Final

from app.clinical import change as verdicts
from app.clinical.clauses import DIRECTION_WORDS
from app.clinical.fit import match
from app.clinical.lead import may_lead
from app.clinical.measure import Cutoff, Measure, Norm, Reliability, Row, UnableRow
from app.clinical.quantities import words
from app.clinical.reading import Result
from app.clinical.scores import Score
from app.clinical.setup import any_of_words
from app.clinical.vocabulary import (
    CONDITIONS,
    DESIGNS,
    HOWS,
    OUTCOME_TYPES,
    ROW_CONDITIONS,
    SETTINGS,
    SEXES,
)
from app.practice.asking import Option, Step
from app.practice.draws import Draws
from app.practice.scoring_case import ScoringCase, setup_words

LETTERS: Final = "abcdefgh"
#: How many sources are offered beside "none of them".
_OFFERED: Final = 4
#: Rows that may be read first; errors and important changes are another question.
_LEADING: Final = (Cutoff, Norm, UnableRow)
#: What a change can be, in words, with the rule it turns on. Ids stand in this order.
CHANGES: Final = {
    verdicts.REAL_GAIN: ("Real gain", "change_beyond"),
    verdicts.REAL_LOSS: ("Real loss", "change_beyond"),
    verdicts.WITHIN: ("Within measurement error", "change_within"),
    verdicts.DISAGREE: ("The sources disagree", "change_sources_differ"),
    verdicts.UNTOLD: ("It cannot be told", "change_unknown"),
    verdicts.NOT_COMPARABLE: ("Not comparable", "change_other_set_up"),
    verdicts.NEWLY_ABLE: ("Newly able", "change_ability"),
    verdicts.NEWLY_UNABLE: ("Newly unable", "change_ability"),
}


def source_step(case: ScoringCase, result: Result, draws: Draws) -> Step:
    """The lead among real rows: near misses, others that fit, and none at all."""
    lead = result.leading
    told = _offered(case, result, draws)
    rows = [
        Option(
            LETTERS[place],
            said,
            lead is not None and row is lead.row,
            *_of_row(case, result, row),
        )
        for place, (said, row) in enumerate(told.items())
    ]
    none = Option(
        LETTERS[len(rows)],
        ("None of these may lead",),
        lead is None,
        "None may lead." if lead is None else "One of them fits and may lead.",
        "none_leads",
    )
    own = lead and lead.row and lead.row.fit.condition in CONDITIONS
    fits = "own_condition" if own else "fits_person"
    because = result.no_lead_because
    if result.lead is not None:
        because = result.lead.why
    return Step(
        key="source",
        ask="Which source should be read first for this person?",
        help="It must fit person and set-up, be about something, and have been read. "
        "Of several: own condition, falls or function, followed forward, accuracy, n.",
        kind="one",
        options=(*rows, none),
        rule="none_leads" if lead is None else fits,
        because=because,
    )


def _offered(
    case: ScoringCase, result: Result, draws: Draws
) -> dict[tuple[str, ...], Row]:
    """What is offered, by its words: no two of them read the same."""
    lead = result.leading
    pool = [r for r in result.readings if isinstance(r.row, _LEADING)]
    near = draws.mixed([r.row for r in pool if r.row and not r.matched])
    behind = draws.mixed([r.row for r in pool if r.row and r.matched and r is not lead])
    chosen = [lead.row] if lead and lead.row else []
    for place in range(_OFFERED):  # by turns, so that both kinds of mistake are open
        for kind in (near, behind):
            chosen += kind[place : place + 1]
    chosen += draws.mixed(_strangers(case, result))
    found: dict[tuple[str, ...], Row] = {}
    for row in chosen:
        found.setdefault(_row_words(case.measure, row), row)
    return dict(draws.mixed(list(found.items())[:_OFFERED]))


def _strangers(case: ScoringCase, result: Result) -> list[Row]:
    """Rows that are far from the person, for when hardly any is near."""
    measure, unable = case.measure, result.score.outcome == "unable"
    rows: tuple[Row, ...] = (*measure.cutoffs, *measure.norms)
    return [
        row
        for row in rows
        if unable or match(measure, row.fit, case.person, result.score).differs
    ]


def _row_words(measure: Measure, row: Row) -> tuple[str, ...]:
    """Who was measured, what it is about, and how it is known."""
    counted = f", n = {row.n}" if row.n else ""
    lines = [f"{measure.sources[row.source].short}: {row.population}{counted}"]
    lines.append(f"{_about(row)}. {'; '.join(_whom(measure, row))}.")
    lines.append(HOWS[row.how].capitalize())
    return tuple(lines)


def _about(row: Row) -> str:
    if isinstance(row, Cutoff):
        limit = f"{DIRECTION_WORDS[row.direction]} {words(row.value, row.unit)}"
        accuracy = "" if row.sensitivity is None else ", accuracy published"
        told = f"{OUTCOME_TYPES[row.outcome_type]}; {DESIGNS[row.design]}"
        return f"Limit, {limit}: {told}{accuracy}"
    if isinstance(row, UnableRow):
        return f"Of those unable: {OUTCOME_TYPES[row.outcome_type]}"
    if isinstance(row, Norm) and row.mean is not None:
        return f"Norm, mean {words(row.mean, row.unit)}"
    return "Norm"


def _whom(measure: Measure, row: Row) -> list[str]:
    fit = row.fit
    said = [ROW_CONDITIONS[fit.condition]]
    if fit.age_min is not None or fit.age_max is not None:
        said.append(_ages(fit.age_min, fit.age_max))
    said += [SEXES[fit.sex]] if fit.sex else []
    said += [" or ".join(SETTINGS[s] for s in fit.settings)] if fit.settings else []
    said += [f"rule: {measure.variant(fit.variant).label}"] if fit.variant else []
    said += [any_of_words(f, v) for k, v in fit.requires.items()
             if (f := measure.fact(k))]  # fmt: skip
    return said


def _ages(low: int | None, high: int | None) -> str:
    if low is None:
        return f"up to {high} years"
    return f"{low} and over" if high is None else f"ages {low} to {high}"


def _of_row(case: ScoringCase, result: Result, row: Row) -> tuple[str, str]:
    """Why a row leads or does not, and the rule of that, by the real reading."""
    lead = result.leading
    reading = next((r for r in result.readings if r.row is row), None)
    if reading is None or reading.match.differs:
        if result.score.outcome == "unable" and not isinstance(row, UnableRow):
            return "It speaks of numbers, and unable has none.", "does_not_fit"
        found = match(case.measure, row.fit, case.person, result.score)
        return f"Does not fit: {'; '.join(found.differs)}.", "does_not_fit"
    if not reading.confirmed:
        return "Recalled, not read: it never leads.", "row_not_read"
    if lead is not None and row is lead.row:
        return "It fits, and nothing that fits stands before it.", "fits_person"
    if not may_lead(reading):
        return "It fits, but describes or diagnoses: it never leads.", "none_leads"
    return "It fits too, and stands behind the one that leads.", "order_of_sources"


def change_step(case: ScoringCase, result: Result, earlier: Score, level: int) -> Step:
    """The headline of the real comparison; the errors it may rest on are shown."""
    assert result.change is not None
    verdict = result.change.verdict
    rule = CHANGES[verdict][1]
    options = tuple(
        Option(LETTERS[place], (said,), key == verdict, "", rule)
        for place, (key, (said, _rule)) in enumerate(CHANGES.items())
    )
    return Step(
        key="change",
        ask="Did it really change since the earlier test?",
        kind="one",
        options=options,
        rule=rule,
        because=" ".join((result.change.says, *_rests_on(result.change))),
        shown=(*_then_and_now(case, result, earlier), *_errors(result, level)),
    )


def _rests_on(change: verdicts.Change) -> list[str]:
    """The first of the errors that the headline rests on, each in its own words."""
    return [r.says for r in verdicts.error_readings(change.readings)][:_OFFERED]


def _then_and_now(case: ScoringCase, result: Result, earlier: Score) -> list[str]:
    return [
        f"Then: {score_words(case.measure, earlier)} "
        f"({setup_words(case.measure, case.before_facts)})",
        f"Now: {score_words(case.measure, result.score)} "
        f"({setup_words(case.measure, case.facts)})",
        f"{case.measure.better.capitalize()} is better.",
    ]


def score_words(measure: Measure, made: Score) -> str:
    if made.shown is None:
        return "unable"
    return f"{words(made.shown, made.unit)} {measure.noun(made.shown)}".strip()


def _errors(result: Result, level: int) -> list[str]:
    """Errors as published; from level 3 on also of people unlike this one."""
    assert result.change is not None
    found: dict[str, None] = {}
    for reading in result.change.readings:
        row = reading.row
        if not isinstance(row, Reliability) or reading.threshold is None:
            continue
        if not reading.matched and level < 3:
            continue
        source = result.measure.sources[row.source].short
        size = words(reading.threshold.normalize() + 0, reading.unit)
        whom = "; ".join(_whom(result.measure, row))
        used = "; not to be judged by" if row.no_verdict else ""
        found[
            f"Error of {size} in {row.population} ({source}; {whom}; "
            f"{HOWS[row.how]}{used})"
        ] = None
    return list(found) or ["No error of repeating is offered for such people."]
