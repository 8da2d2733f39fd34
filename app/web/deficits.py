"""What the tests and visits of a patient ask work for, with a therapist's word on it.

`deficits_of` is the one answer to which deficits hold; pages only show it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.crossing import AVERAGE_ONLY, DISPUTED, REASONED
from app.clinical.deficit import Evidence, Finding, Scored
from app.clinical.deficits import Line, Word, findings, latest, lines, tells
from app.clinical.quantities import words as with_unit
from app.clinical.vocabulary import HOWS, OUTCOMES, UNABLE_REASONS
from app.storage.deficits import DeficitWord, words_in
from app.storage.episodes import episode_or_none
from app.storage.patients import Patient
from app.storage.people import Person
from app.web.dates import day_words
from app.web.deficit_evidence import Gathered, gather, scored
from app.web.judging import Judged
from app.web.result_view import Chip

#: What the page is called that a piece of evidence was written on.
WHERE: Final = {
    "round": "The result",
    "task": "The visit",
    "precaution": "Precautions",
    "answer": "The answer",
}


@dataclass(frozen=True, slots=True)
class Because:
    """One sentence that names a deficit, and the page it was written on.

    `rule`: whose the rule is, where it is more than common practice.
    """

    says: str
    href: str = ""
    where: str = ""
    rule: str = ""


@dataclass(frozen=True, slots=True)
class DeficitLine:
    """One deficit of a patient as the page shows it; `word` is what somebody said."""

    key: str
    words: str
    state: str
    chip: Chip
    becauses: tuple[Because, ...]
    word: Word | None


@dataclass(frozen=True, slots=True)
class DeficitsView:
    """All of it. `keys`: the deficits that hold, the strongest first; `because`: their
    sentences. `quiet`: tests that were looked at and named nothing, and why."""

    lines: tuple[DeficitLine, ...] = ()
    keys: tuple[str, ...] = ()
    because: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    quiet: tuple[Because, ...] = ()
    no_episode: bool = False


def deficits_of(
    session: Session, shelf: Catalogue, patient: Patient, today: date, zone: ZoneInfo
) -> DeficitsView:
    """Which deficits hold for a patient on `today`, in the stretch of care now open.

    Whoever calls has fetched the patient with the right to see them.
    """
    episode = episode_or_none(session, patient)
    if episode is None:
        return DeficitsView(no_episode=True)
    known = gather(session, shelf, patient, episode, today, zone)
    found = findings(shelf.deficits, known.evidence)
    said = [
        Word(row.deficit, row.word, row.reason, _who(row, by, today), row.recorded_at)
        for row, by in words_in(session, episode)
    ]
    made = lines(shelf.deficits, found, said)
    holding = [line for line in made if line.holds]
    return DeficitsView(
        lines=tuple(_shown(shelf, line, known) for line in made),
        keys=tuple(line.deficit for line in holding),
        because={line.deficit: line.because for line in holding},
        quiet=tuple(_quiet(shelf, known, found)),
    )


def _who(row: DeficitWord, by: Person, today: date) -> str:
    return f"{by.name} ({by.role}) on {day_words(row.on_date, today)}"


def _shown(shelf: Catalogue, line: Line, known: Gathered) -> DeficitLine:
    deficit = shelf.deficits.named[line.deficit]
    told = [_because(shelf, finding, known) for finding in line.found]
    told += [Because(says) for says in line.because[len(line.found) :]]
    return DeficitLine(
        line.deficit, deficit.words, line.state, _chip(line), tuple(told), line.word
    )


def _because(shelf: Catalogue, finding: Finding, known: Gathered) -> Because:
    kind, short = finding.origin.ref[0], shelf.deficits.sources[finding.source].short
    known_by = f"{short}, {HOWS[finding.how]}"
    return Because(
        finding.because,
        known.hrefs.get(finding.origin.ref, ""),
        WHERE[kind],
        "" if finding.how == "common practice" else known_by,
    )


def _chip(line: Line) -> Chip:
    """How it is known, in one glance."""
    if line.state == "struck":
        return Chip("out", "Struck")
    if line.state == "added":
        return Chip("same", "Added by hand")
    again = " again, after it was struck" if line.state == "again" else ""
    weight = line.found[0].weight
    if weight < DISPUTED or DISPUTED < weight < REASONED:
        return Chip("in", f"Shown{again}")
    weak = {
        DISPUTED: "Shown, but sources disagree",
        REASONED: "Shown in another set-up",
        AVERAGE_ONLY: "Only beyond an average",
    }
    return Chip("unsure", weak.get(weight, "Known, not measured") + again)


def _quiet(
    shelf: Catalogue, known: Gathered, found: Sequence[Finding]
) -> list[Because]:
    """Of each test the latest result that named nothing, or that could name nothing."""
    naming = {finding.origin.ref for finding in found}
    telling = latest(shelf.deficits, known.evidence.tests)
    silent = [t for t in telling if t.origin.ref not in naming]
    last = {t.result.measure.id: t for t in known.evidence.tests}
    untold = [t for t in last.values() if not tells(t.result.score)]
    return [Because(_why_not(t), known.hrefs[t.origin.ref]) for t in (*silent, *untold)]


def _why_not(tested: Scored) -> str:
    result, score = tested.result, tested.result.score
    name = f"{result.measure.name} on {tested.origin.said}"
    if not tells(score):
        reason = UNABLE_REASONS.get(score.reason, score.reason)
        told = OUTCOMES[score.outcome] + (f", {reason}" if reason else "")
        return f"{name}: {told}. That is no weakness."
    if score.shown is None:
        return f"{name}: unable. No rule asks for work because of it."
    value = with_unit(score.shown, score.unit)
    if not result.standard:
        return f"{name}: {value}. {result.no_lead_because or 'Another set-up.'}"
    if not any(r.matched and r.threshold is not None for r in result.readings):
        return f"{name}: {value}. No published limit fits here: you decide."
    return f"{name}: {value}. Not beyond a limit that asks for work; clears nobody."


def named_by(shelf: Catalogue, judged: Judged, today: date) -> list[DeficitLine]:
    """What one result names by itself, for its own page; strikes are not asked."""
    if judged.result is None:
        return []
    evidence = Evidence(tests=(scored(judged, today),))
    made = lines(shelf.deficits, findings(shelf.deficits, evidence), ())
    return [_shown(shelf, line, Gathered(evidence, {})) for line in made]
