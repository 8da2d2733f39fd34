"""A score against published limits, and what is published of being unable.

What a limit means is said with it: falls, needing help and patients-against-healthy are
different things. A score beyond no limit never clears a person who has fallen.
"""

from collections.abc import Sequence
from dataclasses import replace

from app.clinical.clauses import DIRECTION_WORDS
from app.clinical.fit import Match
from app.clinical.kept import once_a_row
from app.clinical.measure import Cutoff, Effect, Measure, UnableRow
from app.clinical.quantities import beyond, compared_places, words
from app.clinical.readings import Reading, in_unit, quantity_note, quantity_of
from app.clinical.scoring import Score

NO_CLEARANCE = "This does not clear a person who has fallen."


def read_cutoff(
    measure: Measure, row: Cutoff, score: Score, fit: Match
) -> Reading | None:
    """What one limit says; None when the score holds nothing comparable."""
    held = quantity_of(row, score)
    said = in_unit(held, row.unit, _places(row)) if held else None
    if said is None:
        return None
    value = said.value
    crossed = beyond(value, row.direction, row.value)
    return Reading(
        kind="cutoff",
        says=_says(row, said.words, crossed) + quantity_note(row, measure, score),
        row=row,
        match=fit,
        detail=accuracy_words(row),
        value=value,
        unit=row.unit,
        crossed=crossed,
        threshold=row.value,
        direction=row.direction,
        outcome_type=row.outcome_type,
        sensitivity=row.sensitivity,
        specificity=row.specificity,
        design=row.design,
        effect=row.effect if crossed else None,
    )


@once_a_row
def _places(row: Cutoff) -> int:
    return compared_places(row.value, row.unit)


@once_a_row
def _limit(row: Cutoff) -> str:
    """`at or above 15.0 s`."""
    return f"{DIRECTION_WORDS[row.direction]} {words(row.value, row.unit)}"


def read_ladder(
    measure: Measure, rungs: Sequence[tuple[Cutoff, Match]], score: Score
) -> list[Reading]:
    """One source's set of limits: only the worst one reached is said.

    A recalled rung does not hide a confirmed one: then both are.
    """
    mild_first = sorted(
        rungs,
        key=lambda r: r[0].value * (1 if r[0].direction.endswith("above") else -1),
    )
    made = [read_cutoff(measure, row, score, fit) for row, fit in mild_first]
    readings = [r for r in made if r is not None]
    if not readings:
        return []
    reached = [r for r in readings if r.crossed]
    confirmed = [r for r in reached if r.confirmed]
    said = {id(r): r for r in (*reached[-1:], *confirmed[-1:])} or {0: readings[0]}
    edges = tuple(r.threshold for r in readings if r.threshold is not None)
    return [replace(r, edges=edges) for r in said.values()]


def read_unable(row: UnableRow, fit: Match) -> Reading:
    """What a source says of people who could not do the test."""
    return Reading(
        kind="cutoff",
        says=f"Being unable was linked with {row.outcome} in {row.population}."
        + effect_words(row.effect),
        row=row,
        match=fit,
        crossed=True,
        outcome_type=row.outcome_type,
        design=row.design,
        effect=row.effect,
    )


def _says(row: Cutoff, here: str, crossed: bool) -> str:
    limit = _limit(row)
    if row.no_verdict:
        return (
            f"{here}; the limit is {limit} for {row.outcome} in {row.population}. Not "
            "used for a verdict: see the note."
        )
    if row.outcome_type == "health_vs_disease":
        side = "beyond" if crossed else "not beyond"
        return (
            f"{here} is {side} the limit ({limit}) that told apart {row.outcome} in "
            f"{row.population}. Not a fall cut-off."
        )
    if row.outcome_type in ("protocol_limit", "percentile"):
        side = "is" if crossed else "is not"
        text = f"{here} {side} {limit}, the line for {row.outcome} ({row.population})."
        about_falls = not crossed and "fall" in row.outcome
        return f"{text} {NO_CLEARANCE}" if about_falls else text
    if crossed:
        return (
            f"In the range linked with {row.outcome} in {row.population}: {here}, "
            f"{limit}."
        )
    text = (
        f"Not in the range linked with {row.outcome} in {row.population}: {here}; the "
        f"limit is {limit}."
    )
    return f"{text} {NO_CLEARANCE}" if row.outcome_type == "falls" else text


@once_a_row
def accuracy_words(row: Cutoff) -> str:
    """How well the limit told people apart, as published."""
    parts = []
    if row.sensitivity is not None:
        parts.append(f"sensitivity {row.sensitivity}")
    if row.specificity is not None:
        parts.append(f"specificity {row.specificity}")
    if row.auc is not None:
        parts.append(f"area under the curve {row.auc}")
    said = ", ".join(parts).capitalize()
    return (f"{said}." if said else "") + effect_words(row.effect)


def effect_words(effect: Effect | None) -> str:
    if effect is None:
        return ""
    name = effect.kind.replace("_", " ")
    name = f"adjusted {name}" if effect.adjusted else name
    text = f" {name.capitalize()} {effect.value}"
    if effect.ci95 is not None:
        text += f" (95 % CI {effect.ci95[0]} to {effect.ci95[1]})"
    return text + "."
