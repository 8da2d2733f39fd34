"""A walked pathway in words and order for its page; nothing is judged here."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from app.catalogue.load import Catalogue
from app.clinical.chance import chance_of
from app.clinical.cutoff_reading import accuracy_words
from app.clinical.fit import Match, match_person
from app.clinical.pathway import (
    Accuracy,
    Known,
    Need,
    Pathway,
    Remark,
    Rule,
    State,
    Step,
    Told,
    Walk,
    tell,
)
from app.clinical.readings import Reading
from app.clinical.screening import QUESTIONS, contradicted
from app.clinical.source import Source
from app.clinical.vocabulary import HOWS
from app.web.pathway_known import ELSEWHERE
from app.web.setup_form import named

STATES: Final[Mapping[State, tuple[str, str]]] = {
    "met": ("in", "Holds"),
    "not_met": ("out", "Does not hold"),
    "open": ("unsure", "Still open"),
    "told": ("same", "To know"),
}
MARKS: Final = {True: "yes", False: "no", None: "not known"}
PERSON: Final = {"age": "Age", "setting": "Setting of care"}
NO_LEVEL: Final = (
    "No rule that was read covers these answers, so no level is given. Judge yourself."
)
CONTRADICTED: Final = (
    "No fall is said, and yet what came of one. Set one of the two right."
)


@dataclass(frozen=True, slots=True)
class NeedLine:
    """One thing missing: its words, and where to do it (empty: nowhere here)."""

    words: str
    href: str


@dataclass(frozen=True, slots=True)
class ToldLine:
    """One condition with the person's own answer."""

    says: str
    mark: str
    own: str


@dataclass(frozen=True, slots=True)
class StepLine:
    """One rule with its state as shape and word."""

    rule: Rule
    kind: str
    words: str
    told: tuple[ToldLine, ...]
    source: str
    how: str
    note: str


@dataclass(frozen=True, slots=True)
class Fact:
    """A remark or an accuracy row: its sentence and where it is from."""

    text: str
    source: str
    how: str
    note: str
    chance: str = ""


@dataclass(frozen=True, slots=True)
class PathwayView:
    """All of a pathway's page below the questions."""

    pathway: Pathway
    how: str
    level: str
    leads: str
    why: str
    unconfirmed: bool
    assumed: tuple[str, ...]
    findings: tuple[tuple[str, str], ...]
    missing: tuple[NeedLine, ...]
    steps: tuple[StepLine, ...]
    remarks: tuple[Fact, ...]
    beside: tuple[Fact, ...]
    accuracy: tuple[Fact, ...]


def pathway_view(
    walked: Walk, known: Known, shelf: Catalogue, patient_id: int
) -> PathwayView:
    path, sources = walked.pathway, walked.pathway.sources
    place = f"/patients/{patient_id}"
    needs = (need_line(n, shelf, place, path.id) for n in walked.missing)
    return PathwayView(
        pathway=path,
        how=HOWS[path.how],
        level=path.names.get(walked.level, ""),
        leads=walked.by.rule.then if walked.by else "",
        why=_why(walked, known),
        unconfirmed=walked.unconfirmed,
        assumed=tuple(f"not: {a[0].lower()}{a[1:]}" for a in _assumed(walked)),
        findings=tuple(_findings(walked)),
        missing=tuple(dict.fromkeys(needs)),
        steps=tuple(_step(s, sources) for s in walked.steps),
        remarks=tuple(_remark(r, sources) for r in walked.remarks if r.at),
        beside=tuple(_remark(r, sources) for r in walked.remarks if not r.at),
        accuracy=tuple(_accuracy(a, path, known, shelf) for a in path.accuracy),
    )


def _why(walked: Walk, known: Known) -> str:
    """The rule that gave the level, or why there is none."""
    if walked.by:
        return walked.by.rule.when
    if contradicted(known.answers):
        return CONTRADICTED
    has_levels = any(rule.level for rule in walked.pathway.rules)
    return NO_LEVEL if has_levels and not walked.missing else ""


def _assumed(walked: Walk) -> tuple[str, ...]:
    return walked.by.assumed if walked.by else ()


def _findings(walked: Walk) -> list[tuple[str, str]]:
    met = [s.rule for s in walked.steps if s.state == "met" and s.rule.finding]
    return [(walked.pathway.names[r.finding], r.then) for r in met]


def need_line(need: Need, shelf: Catalogue, place: str, pathway_id: str) -> NeedLine:
    """What is missing, in words, with the page on which it can be done."""
    if need.kind == "answer":
        end, _ = ELSEWHERE.get(need.key, (f"pathways/{pathway_id}#{need.key}", ""))
        return NeedLine(QUESTIONS[need.key].label, f"{place}/{end}")
    if need.kind == "person":
        words = PERSON.get(need.key, "Age or sex, for the published row to fit")
        return NeedLine(words, f"{place}/edit" if need.key != "setting" else "")
    measure = shelf.measures.get(need.key)
    if need.kind == "unable":
        name = measure.name if measure else _plain(need.key)
        return NeedLine(f"{name}: tried, unable. The rules have no line for that.", "")
    if measure is None:
        return NeedLine(f"{_plain(need.key)}: not among the tests here", "")
    return NeedLine(measure.name, f"{place}/measures/{measure.id}/ready")


def _plain(key: str) -> str:
    return key.replace("_", " ").capitalize()


def _step(step: Step, sources: Mapping[str, Source]) -> StepLine:
    kind, words = STATES[step.state]
    if step.state == "met" and not step.rule.gives:
        kind = "same"  # it holds, and nothing was found by it
    return StepLine(
        rule=step.rule,
        kind=kind,
        words=words,
        told=tuple(map(_told, step.told)),
        source=sources[step.rule.source].short,
        how=HOWS[step.rule.how],
        note=named(step.rule.note, sources),
    )


def _told(told: Told) -> ToldLine:
    return ToldLine(told.condition.says, MARKS[told.met], told.own)


def _remark(remark: Remark, sources: Mapping[str, Source]) -> Fact:
    short = sources[remark.source].short
    return Fact(remark.text, short, HOWS[remark.how], named(remark.note, sources))


def _accuracy(
    accuracy: Accuracy, path: Pathway, known: Known, shelf: Catalogue
) -> Fact:
    row = accuracy.row
    short = path.sources[row.source].short
    said = f"{row.outcome[0].upper()}{row.outcome[1:]} ({row.population}"
    said += f", n = {row.n}). " if row.n else "). "
    return Fact(
        said + accuracy_words(row), short, HOWS[row.how],
        named(row.note, path.sources), _chance(accuracy, path, known, shelf),
    )  # fmt: skip


def _chance(accuracy: Accuracy, path: Pathway, known: Known, shelf: Catalogue) -> str:
    """What such answers came to in that study; empty where it cannot be said."""
    if not accuracy.reads or not path.percent:
        return ""
    met, row = tell(path, known, accuracy.reads).met, accuracy.row
    fit: Match = match_person(row.fit, known.person, strict=True)
    if met is None or not fit.fits:
        return ""
    reading = Reading(
        kind="cutoff", says="", row=row, match=fit, crossed=met,
        outcome_type=row.outcome_type, design=row.design,
        sensitivity=row.sensitivity, specificity=row.specificity,
    )  # fmt: skip
    short, rates = path.sources[row.source].short, shelf.base.rates
    chance = chance_of(reading, short, known.person, rates, None, such="such answers")
    return chance.reading.says if chance.reading else ""
