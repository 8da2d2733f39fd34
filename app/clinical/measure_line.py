"""A result as one line of a note, in five parts, each in words that stand elsewhere.

Test and set-up; value with its rule; the reading that leads, with its source; the
change against measurement error; what it is to daily life, which stays empty unless a
goal or a task of the visit says so. A result without a number has none here either.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from app.clinical.change import DISAGREE, WITHIN, Change, error_readings
from app.clinical.course import RESULTS
from app.clinical.days import full_day
from app.clinical.measure import Measure
from app.clinical.note_words import sentence, spelled
from app.clinical.quantities import shown, words
from app.clinical.reading import (
    JUDGEMENT,
    LINES_ONLY,
    NONE_MAY_LEAD,
    OFF_SETUP,
    OWN_SETUP,
    TRY_AGAIN,
    UNCONFIRMED,
    Result,
    rests_on_a_guess,
)
from app.clinical.readings import Reading
from app.clinical.scores import Score, Trial
from app.clinical.vocabulary import OUTCOMES, UNABLE_REASONS

#: Said on the result's page, to whoever stands at the bedside; not of this person.
_ON_SCREEN: Final = (JUDGEMENT, UNCONFIRMED, OFF_SETUP, OWN_SETUP, TRY_AGAIN)
#: Why nothing leads, where nothing stands below: as a note says it.
NONE_LEADS: Final = {
    LINES_ONLY: "What fits are lines of rules and diagnoses; none leads.",
    NONE_MAY_LEAD: "No published reference to judge by fits this person.",
}
NO_EARLIER: Final = "No earlier score to compare with."


@dataclass(frozen=True, slots=True)
class MeasureLine:
    """The five parts in order: test, value, reference, change, function.

    `text` joins those that say something.
    """

    parts: tuple[str, str, str, str, str]

    @property
    def text(self) -> str:
        return " ".join(part for part in self.parts if part)


def measure_line(
    result: Result,
    *,
    setup: str = "",
    before_on: date | None = None,
    link: str = "",
    beside: Sequence[str] = (),
) -> MeasureLine:
    """The line of a result.

    `setup` is the set-up in words, `before_on` the day of the score that the change
    speaks of, `link` the goal or task it serves in words, `beside` what else the
    trials made.
    """
    parts = (
        _test(result, setup),
        _value(result, beside),
        _reference(result),
        _changed(result, before_on),
        f"Function: {link}" if link else "",
    )
    first, second, third, fourth, fifth = (sentence(spelled(part)) for part in parts)
    return MeasureLine((first, second, third, fourth, fifth))


def _test(result: Result, setup: str) -> str:
    """`Five times sit to stand: seat height 17 in; trials 19.1 s and 18.4 s`."""
    said = [setup] if setup else []
    if not _ended(result.score):
        values = [_trial(result.measure, t) for t in result.score.trials]
        known = [value for value in values if value]
        if len(known) > 1:
            said.append(f"trials {', '.join(known[:-1])} and {known[-1]}")
    name = result.measure.name
    return f"{name}: {'; '.join(said)}" if said else name


def _ended(score: Score) -> bool:
    """Whether it came to no score: declined, stopped or not done."""
    return score.outcome not in RESULTS


def _trial(measure: Measure, trial: Trial) -> str:
    """The number of a trial that counts; stages and a cuff have theirs beside it."""
    if trial.outcome != "completed" or trial.value is None:
        return ""
    if measure.kind in ("pressure", "stages"):
        return ""
    value = shown(trial.value, trial.unit)
    return f"{words(value, trial.unit)} {measure.noun(value)}".strip()


def _value(result: Result, beside: Sequence[str]) -> str:
    """`18.4 s, faster of two`, or what happened and why, without a number."""
    score, measure = result.score, result.measure
    if score.shown is None:
        reason = UNABLE_REASONS.get(score.reason, score.reason)
        return OUTCOMES[score.outcome] + (f": {reason}" if reason else "")
    value = f"{words(score.shown, score.unit)} {measure.noun(score.shown)}".strip()
    if measure.kind == "pressure":
        value = f"a fall of {value}" if score.value else f"{value}, no fall"
    label = measure.variant(score.variant).label
    said = f"{value}, {label[:1].lower()}{label[1:]}"
    return f"{said} ({'; '.join(beside)})" if beside else said


def _reference(result: Result) -> str:
    """What the leading source says, who it is, and who says otherwise."""
    if _ended(result.score):
        return ""
    lead = result.leading
    on_screen = {*_ON_SCREEN, *(caution.says for caution in result.measure.warns)}
    said = [NONE_LEADS.get(result.no_lead_because, result.no_lead_because)]
    if lead is not None:
        said = [_by(result.measure, lead)]
        on_screen.update(rests_on_a_guess(result.readings, lead))
        said += _fit(lead)
    return " ".join([*said, *(c for c in result.cautions if c not in on_screen)])


def _fit(lead: Reading) -> Iterator[str]:
    """What the reading takes for granted, and what is not certain of its fit."""
    held = [said.removeprefix("if ") for said in lead.match.assumed if _is_if(said)]
    open_ = [said for said in lead.match.assumed if not _is_if(said)]
    if held:
        yield f"Holds if {', and if '.join(held)}."
    if open_:
        yield f"Fit: {'; '.join(open_)}."


def _is_if(said: str) -> bool:
    return said.startswith("if ")


def _by(measure: Measure, reading: Reading) -> str:
    """`Buatois 2008: In the range linked with ...`."""
    source = f"{measure.sources[reading.row.source].short}: " if reading.row else ""
    return source + reading.says


def _changed(result: Result, before_on: date | None) -> str:
    """The verdict with its day, and the error of repeating that it rests on."""
    change = result.change
    if _ended(result.score):
        return ""
    if change is None:
        return NO_EARLIER
    says = change.says
    if before_on is not None:
        says = f"Against {full_day(before_on)}: {says[:1].lower()}{says[1:]}"
    errors = (_by(result.measure, reading) for reading in _deciding(change))
    return " ".join((says, *errors))


def _deciding(change: Change) -> Iterator[Reading]:
    """The error hardest to exceed; where sources disagree, one of each side.

    Within the error it is the smallest one, which the change still does not exceed.
    """
    judged = [r for r in error_readings(change.readings) if r.threshold is not None]
    inside = [r for r in judged if not r.crossed]
    beyond = [r for r in judged if r.crossed]
    if inside and change.verdict in (WITHIN, DISAGREE):
        yield min(inside, key=_size)
    if beyond and change.verdict != WITHIN:
        yield max(beyond, key=_size)


def _size(reading: Reading) -> Decimal:
    assert reading.threshold is not None
    return reading.threshold
