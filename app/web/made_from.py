"""What a test made from others has already, and what is still to be done today."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.composing import why_not
from app.clinical.composite import Component
from app.clinical.measure import Measure
from app.clinical.scoring import NotScorable, Score
from app.storage.patients import Patient
from app.storage.trials import RoundTrials, rounds_of
from app.web.judging import Judged, score_of
from app.web.last_scores import value_words


@dataclass(frozen=True, slots=True)
class PartLine:
    """One part: today's round that gives it, or what has to be done for it."""

    label: str
    measure_id: str
    round_id: int | None
    says: str
    asks: str


def part_lines(
    session: Session, shelf: Catalogue, patient: Patient, judged: Judged
) -> list[PartLine]:
    """Every part of a composite in the order of its file; empty for other tests."""
    return [
        _line(shelf, part, rounds_of(session, patient.id, part.measure), judged)
        for part in judged.measure.components
    ]


def _line(
    shelf: Catalogue, part: Component, rounds: Sequence[RoundTrials], judged: Judged
) -> PartLine:
    other = shelf.measures[part.measure]
    lack = "not done today"
    for kept in reversed([k for k in rounds if k.on_date == judged.on_date]):
        try:
            found = score_of(other, kept)
        except NotScorable:
            lack = "begun, not finished"
            continue
        wrong = why_not(part, found)
        if not wrong:
            return PartLine(part.label, other.id, kept.round.id, _words(found), "")
        lack = wrong
    return PartLine(part.label, other.id, None, lack, asked(part, other))


def _words(score: Score) -> str:
    shown = None if score.shown is None else str(score.shown)
    return value_words(score.outcome, shown, score.unit)


def asked(part: Component, other: Measure) -> str:
    """How the part has to be done, so that it can be taken."""
    said = []
    for key, values in part.requires.items():
        fact = other.fact(key)
        if fact is not None:
            words = " or ".join(fact.options.get(v, v) for v in values)
            said.append(f"{fact.label.lower()}: {words}")
    courses = [name for name in part.bands if name]
    if part.by and courses:
        fact = other.fact(part.by)
        names = [fact.options.get(c, c) if fact else c for c in courses]
        said.append(f"{part.by}: {' or '.join(names)}")
    return "Do it now; " + "; ".join(said) if said else "Do it now"
