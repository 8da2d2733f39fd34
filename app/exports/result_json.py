"""A Result as JSON-ready values: clinical numbers are strings of the shown decimal."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

from app.clinical.quantities import shown
from app.clinical.reading import Result
from app.clinical.readings import Reading


def result_json(result: Result, edition: str) -> dict[str, Any]:
    """The contract of `tapeline score --json`."""
    score = result.score
    return {
        "measure": result.measure.id,
        "edition": edition,
        "score": {
            "value": _text(score.shown),
            "unit": score.unit,
            "outcome": score.outcome,
            "reason": score.reason or None,
            "rule": score.variant,
            "trials": [
                {"outcome": t.outcome, "value": _text(t.value), "unit": t.unit or None}
                for t in score.trials
            ],
            "parts": _parts(result),
        },
        "fit": {
            "standard": result.standard,
            "differs": list(result.differs),
            "assumed": list(result.assumed),
        },
        "lead": None if result.lead is None else result.lead.index,
        "lead_why": result.no_lead_because if result.lead is None else result.lead.why,
        "change": _change(result),
        "no_chance": result.no_chance_because or None,
        "readings": [reading_json(r) for r in result.readings],
        "cautions": list(result.cautions),
    }


def _parts(result: Result) -> dict[str, dict[str, str | None]]:
    score = result.score
    beside = {
        name: _part(value, score.unit, result.measure.variant(name).label)
        for name, value in score.beside.items()
    }
    return beside | {k: _part(p.value, p.unit, p.label) for k, p in score.parts.items()}


def _part(value: Fraction, unit: str, label: str) -> dict[str, str | None]:
    return {"value": _text(shown(value, unit)), "unit": unit, "label": label}


def _change(result: Result) -> dict[str, Any] | None:
    change = result.change
    if change is None:
        return None
    return {
        "verdict": change.verdict,
        "says": change.says,
        "difference": _text(change.difference),
        "unit": change.unit or None,
        "differs": list(change.differs),
    }


def reading_json(reading: Reading) -> dict[str, Any]:
    """One reading of the contract, with where it comes from."""
    row, effect = reading.row, reading.effect
    return {
        "kind": reading.kind,
        "says": reading.says,
        "detail": reading.detail or None,
        "value": _text(reading.value),
        "crossed": reading.crossed,
        "threshold": _text(reading.threshold),
        "direction": reading.direction,
        "unit": reading.unit or None,
        "population": row.population if row else None,
        "n": row.n if row else None,
        "outcome_type": reading.outcome_type,
        "percentile": None if reading.percentile is None else str(reading.percentile),
        "z": _text(reading.z),
        "verdict": reading.verdict,
        "sensitivity": _text(reading.sensitivity),
        "specificity": _text(reading.specificity),
        "effect": None
        if effect is None
        else {
            "kind": effect.kind,
            "value": _text(effect.value),
            "ci95": None if effect.ci95 is None else [str(v) for v in effect.ci95],
        },
        "design": reading.design,
        "pre": _text(reading.pre),
        "post": _text(reading.post),
        "base_rate": _base(reading),
        "source": row.source if row else None,
        "how": row.how if row else None,
        "matched": reading.matched,
        "differs": list(reading.match.differs),
        "assumed": list(reading.match.assumed),
        "near_edge": reading.near_edge,
        "note": (row.note or None) if row else None,
    }


def _base(reading: Reading) -> dict[str, str | None] | None:
    """The published chance before the test, where it was not the asker's own."""
    rate = reading.base
    if rate is None:
        return None
    return {
        "value": str(rate.value),
        "event": rate.event,
        "horizon": rate.horizon,
        "population": rate.population,
        "source": rate.source,
        "how": rate.how,
    }


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)
