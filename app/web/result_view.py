"""A judged round as the result page shows it: words and order ready, nothing judged."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from app.clinical import change as changes
from app.clinical.measure import Measure, Norm
from app.clinical.quantities import UNIT_WORDS, shown
from app.clinical.quantities import words as with_unit
from app.clinical.reading import JUDGEMENT, UNCONFIRMED, Result
from app.clinical.readings import Reading
from app.clinical.scoring import Part
from app.clinical.source import Source
from app.clinical.vocabulary import HOWS, OUTCOMES, UNABLE_REASONS
from app.web.judging import Judged, counts
from app.web.score_tape import score_tape
from app.web.setup_form import named, setup_words
from app.web.tape import TapeView

CROSSED = {
    "falls": "In the range linked with falls",
    "function": "In the range linked with loss of function",
    "help_needed": "In the range linked with needing help",
    "health_vs_disease": "Beyond a patients-against-healthy limit",
    "percentile": "Beyond a place in a sample",
    "death": "In the range linked with death or hospital stay",
    "protocol_limit": "Beyond a protocol's limit",
}
#: Said under every result: true, but nothing to act on at this bedside.
_REMARKS = (JUDGEMENT, UNCONFIRMED)
CHANGE_CHIP = {
    changes.REAL_GAIN: "gain",
    changes.NEWLY_ABLE: "gain",
    changes.REAL_LOSS: "loss",
    changes.NEWLY_UNABLE: "loss",
    changes.WITHIN: "same",
}


@dataclass(frozen=True, slots=True)
class Chip:
    """A state: its shape's name and its words."""

    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class ReadingView:
    """One reading with its source one tap away."""

    says: str
    detail: str
    source: Source | None
    how: str
    population: str
    n: int | None
    note: str
    assumed: tuple[str, ...]
    differs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ResultView:
    """All of one result, lead first."""

    value: str
    unit: str
    outcome: str
    reason: str
    rule: str
    setup: str
    parts: tuple[str, ...]
    tape: TapeView | None
    chip: Chip
    lead: ReadingView | None
    why: str
    change: Chip | None
    change_says: str
    change_readings: tuple[ReadingView, ...]
    others: tuple[ReadingView, ...]
    unconfirmed: tuple[ReadingView, ...]
    near: tuple[ReadingView, ...]
    assumed: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]


def result_view(judged: Judged) -> ResultView:
    """What the page needs; `judged.result` must be there."""
    result = judged.result
    assert result is not None
    score, lead = result.score, result.leading
    return ResultView(
        value="" if score.shown is None else str(score.shown),
        unit=_unit_word(score.shown, score.unit) or result.measure.noun(score.shown),
        outcome=OUTCOMES[score.outcome],
        reason=UNABLE_REASONS.get(score.reason, score.reason),
        rule=result.measure.variant(score.variant).label,
        setup=setup_words(judged.measure, score.facts) if score.facts else "",
        parts=tuple(_parts(judged, result)),
        tape=score_tape(judged),
        chip=lead_chip(lead, result),
        lead=reading_view(result.measure, lead) if lead else None,
        why=result.lead.why if result.lead else result.no_lead_because,
        assumed=result.assumed,
        cautions=tuple(c for c in result.cautions if c not in _REMARKS),
        remarks=tuple(c for c in result.cautions if c in _REMARKS),
        **_change(result),
        **_groups(result),
    )


def _unit_word(value: Decimal | None, unit: str) -> str:
    """`stage` beside 1, `stages` beside 2."""
    if value is None:
        return UNIT_WORDS[unit]
    fall = "" if unit != "mmHg" else " fall" if value > 0 else " (no fall)"
    return with_unit(value, unit).partition(" ")[2] + fall


def _change(result: Result) -> dict[str, Any]:
    """The change since last time; what was read before what was recalled."""
    change = result.change
    if change is None:
        return {"change": None, "change_says": "", "change_readings": ()}
    kind = CHANGE_CHIP.get(change.verdict, "unsure")
    confirmed_first = sorted(
        change.readings, key=lambda r: (not r.confirmed, r.no_verdict)
    )
    return {
        "change": Chip(kind, change.verdict.capitalize()),
        "change_says": change.says,
        "change_readings": tuple(
            reading_view(result.measure, r) for r in confirmed_first if r.matched
        ),
    }


def _groups(result: Result) -> dict[str, Any]:
    """The readings that do not lead: fitting, unconfirmed, and not matched."""
    lead = result.leading
    apart = ("change", "chance")
    rest = [r for r in result.readings if r.kind not in apart and r is not lead]
    fitting = [r for r in rest if r.matched]

    def views(readings: list[Reading]) -> tuple[ReadingView, ...]:
        return tuple(reading_view(result.measure, r) for r in readings)

    return {
        "others": views([r for r in fitting if r.confirmed]),
        "unconfirmed": views([r for r in fitting if not r.confirmed]),
        "near": views([r for r in rest if not r.matched]),
    }


def lead_chip(lead: Reading | None, result: Result) -> Chip:
    """The state in one glance; never a diagnosis, never "safe"."""
    if result.score.outcome in ("stopped", "declined", "not_done"):
        return Chip("stopped", OUTCOMES[result.score.outcome].capitalize())
    if lead is None:
        return Chip("unsure", "No reading leads")
    if lead.kind == "cutoff":
        disagree = any(c.startswith("Sources disagree") for c in result.cautions)
        if disagree and not lead.crossed:
            return Chip("unsure", "Not beyond this limit; other sources disagree")
        if lead.crossed:
            return Chip("in", CROSSED[lead.outcome_type or "protocol_limit"])
        return Chip("out", "Not beyond this source's limit")
    if lead.crossed is None:
        spread = isinstance(lead.row, Norm) and lead.row.mean is None
        return Chip("unsure", f"Beside a published {'spread' if spread else 'average'}")
    return (
        Chip("in", "Beyond the average")
        if lead.crossed
        else Chip("out", "Not beyond the average")
    )


def _parts(judged: Judged, result: Result) -> list[str]:
    """What stands beside the score: other rules, the paired test, what was counted."""
    score, measure = result.score, result.measure
    rules = [
        capital(measure.variant(name).label)
        + f": {with_unit(shown(v, score.unit), score.unit)}"
        for name, v in score.beside.items()
    ]
    return rules + made_beside(judged, result)


def made_beside(judged: Judged, result: Result) -> list[str]:
    """The same without what other rules would make of the trials."""
    score, measure = result.score, result.measure
    said = [_pair_words(name, part) for name, part in score.parts.items()]
    if measure.pairs and not score.parts and score.value is not None:
        said.append("No plain test of the same day: no difference can be told.")
    return said + _counted(judged)


def _pair_words(name: str, part: Part) -> str:
    value = shown(part.value, part.unit)
    if name == "difference":
        side = "slower" if value > 0 else "faster"
        return f"{with_unit(abs(value), part.unit)} {side} than the plain test"
    return f"{capital(part.label)}: {with_unit(value, part.unit)}"


def capital(words: str) -> str:
    """Only the first letter: `BMI` and names keep theirs."""
    return words[:1].upper() + words[1:]


def _counted(judged: Judged) -> list[str]:
    """Counts kept with the last counted trial, and those that are missing."""
    done = [t for t in judged.trials if counts(t)]
    if not done or not judged.measure.inputs or judged.measure.kind == "pressure":
        return []
    kept = done[-1].inputs
    wanted = [i for i in judged.measure.inputs if i.kind != "yes_no"]
    said = [f"{i.label}: {kept[i.key]}" for i in judged.measure.inputs if i.key in kept]
    missing = [i.label.lower() for i in wanted if i.key not in kept]
    return said + ([f"Not counted: {', '.join(missing)}"] if missing else [])


def reading_view(measure: Measure, reading: Reading) -> ReadingView:
    """One reading of a test with its source."""
    row = reading.row
    return ReadingView(
        says=reading.says,
        detail=reading.detail,
        source=measure.sources[row.source] if row else None,
        how=HOWS[row.how] if row else "",
        population=row.population if row else "",
        n=row.n if row else None,
        note=named(row.note, measure.sources) if row else "",
        assumed=reading.match.assumed,
        differs=reading.match.differs,
    )
