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
from app.web.result_view import capital


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
    lack, label = "not done today", capital(part.label)
    for kept in reversed([k for k in rounds if k.on_date == judged.on_date]):
        try:
            found = score_of(other, kept)
        except NotScorable:
            lack = "begun, not finished"
            continue
        wrong = why_not(part, found)
        if not wrong:
            return PartLine(label, other.id, kept.round.id, _words(found), "")
        lack = _plain(wrong, other, found)
    return PartLine(label, other.id, None, lack, f"Do it now. {asked(part, other)}")


def _plain(wrong: str, other: Measure, found: Score) -> str:
    """The core names facts by their keys: here as they stand on the set-up form."""
    for key, value in found.facts.items():
        fact = other.fact(key)
        if fact is not None:
            said = f"{fact.label.lower()}: {fact.options.get(value, value)}"
            wrong = wrong.replace(f"{key.replace('_', ' ')} {value}", said)
    return wrong


def _words(score: Score) -> str:
    shown = None if score.shown is None else str(score.shown)
    return value_words(score.outcome, shown, score.unit)


def asked(part: Component, other: Measure) -> str:
    """How the part has to be done, so that it can be taken."""
    wanted = dict(part.requires)
    if part.by and any(part.bands):
        wanted[part.by] = tuple(name for name in part.bands if name)
    said = []
    for key, values in wanted.items():
        fact = other.fact(key)
        if fact is not None:
            words = " or ".join(fact.options.get(v, v) for v in values)
            said.append(f"{fact.label.lower()}: {words}")
    return capital("; ".join(said)) + "." if said else ""


def part_note(shelf: Catalogue, whole_id: str, other: Measure) -> str:
    """On the set-up page of a part: what it must be like for the whole."""
    whole = shelf.measures.get(whole_id)
    parts = whole.components if whole else ()
    found = next((part for part in parts if part.measure == other.id), None)
    if whole is None or found is None:
        return ""
    return f"A part of: {whole.name}. {asked(found, other)}"


def wholes_of(
    session: Session, shelf: Catalogue, patient: Patient, judged: Judged
) -> list[tuple[str, int]]:
    """Tests begun today that this one is a part of: the way back to them."""
    found = []
    for whole in shelf.measures.values():
        if judged.measure.id not in whole.made_from or not whole.components:
            continue
        rounds = rounds_of(session, patient.id, whole.id)
        today = [k.round.id for k in rounds if k.on_date == judged.on_date]
        found += [(whole.name, today[-1])] if today else []
    return found
