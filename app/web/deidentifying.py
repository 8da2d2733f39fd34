"""A world's records as the raw rows of the de-identified files, patient by patient.

Only what a column asks for is handed on, and `exports.deidentified` lets through what
its rule knows. Codes come from `secrets` and are forgotten with the export.
"""

import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from sqlmodel import Session, select

from app.catalogue.load import Catalogue
from app.clinical.measure import Measure
from app.clinical.visiting import MINUTES
from app.exports.caseload_csv import time_cell
from app.exports.deidentified import (
    COLUMNS,
    Known,
    Raw,
    closed_csv,
    told_age,
    told_days,
)
from app.exports.deidentified_words import readme
from app.storage.activity_sets import ActivitySet, SetSymptom, sets_of
from app.storage.episodes import Episode, Visit, episodes_of
from app.storage.goals import goals_of
from app.storage.patients import Patient, details_of
from app.storage.trials import Trial
from app.version import VERSION
from app.web.exporting import Told, entered, in_silence
from app.web.judging import Judged
from app.web.rejudging import judged_all
from app.web.released import Released, released, told_apart


@dataclass(frozen=True, slots=True)
class Story:
    """One patient's visits that may be told, in order, with their care."""

    patient: Patient
    cares: dict[int, int]
    settings: dict[int, str]
    held: Released

    @property
    def visits(self) -> tuple[Visit, ...]:
        return self.held.visits

    @property
    def number_of(self) -> dict[int, int]:
        return {visit.id: number for number, visit in enumerate(self.visits, 1)}


@dataclass(slots=True)
class Deidentifying:
    """One export. `codes` maps patients to the codes that were drawn for it."""

    session: Session
    shelf: Catalogue
    demo: bool
    day_offsets: bool = False
    progress: Told = in_silence
    codes: dict[int, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        people = told_apart(self.session, demo=self.demo)
        self.codes = {number: secrets.token_hex(8) for number in people}

    def members(self) -> Iterator[tuple[str, Iterator[str]]]:
        """README.txt and each file, in lines."""
        yield (
            "README.txt",
            readme(
                edition=self.shelf.edition,
                version=VERSION,
                day_offsets=self.day_offsets,
            ),
        )
        known = Known(self.shelf.measures, frozenset(self.shelf.activities))
        makers: dict[str, Callable[[Story], Iterator[Raw]]] = {
            "patients.csv": self._patient,
            "visits.csv": self._visits,
            "trials.csv": self._trials,
            "scores.csv": self._scores,
            "sets.csv": self._sets,
            "goals.csv": self._goals,
        }
        for name in COLUMNS:
            rows = self._rows(makers[name])
            yield name, closed_csv(name, rows, known, day_offsets=self.day_offsets)

    def _rows(self, made_by: Callable[[Story], Iterator[Raw]]) -> Iterator[Raw]:
        """Those of everybody, in the order of their codes, which is none."""
        order = sorted(self.codes, key=self.codes.__getitem__)
        for done, patient_id in enumerate(order, 1):
            story = story_of(self.session, patient_id)
            if story.visits:
                code = {"patient": self.codes[patient_id]}
                for row in made_by(story):
                    yield {**row, **code}
            self.session.expunge_all()
            self.progress(done, len(order))

    def _patient(self, story: Story) -> Iterator[Raw]:
        details = details_of(self.session, story.patient)
        first, last = story.visits[0].local_date, story.visits[-1].local_date
        yield {
            "age": told_age(details.birth_date, details.birth_year, first, last),
            "sex": details.sex,
            "conditions": tuple(details.conditions),
        }

    def _visits(self, story: Story) -> Iterator[Raw]:
        days = [visit.local_date for visit in story.visits]
        dated = told_days(days, day_offsets=self.day_offsets)
        for number, (visit, when) in enumerate(
            zip(story.visits, dated, strict=True), 1
        ):
            yield {
                "visit": number,
                **when,
                "care": story.cares[visit.episode_id],
                "setting": story.settings[visit.episode_id],
                "kind": visit.kind,
                "missed_reason": visit.missed_reason,
                "minutes": sum(getattr(visit, f"{name}_minutes") for name in MINUTES),
            }

    def _trials(self, story: Story) -> Iterator[Raw]:
        for number, kept in story.held.numbered:
            for trial in kept.trials:
                yield {
                    "visit": story.number_of[kept.round.visit_id],
                    "round": number,
                    "measure": kept.round.measure,
                    "variant": kept.round.variant,
                    "facts": kept.round.facts,
                    **_trial(self.shelf.measures.get(kept.round.measure), trial),
                }

    def _scores(self, story: Story) -> Iterator[Raw]:
        numbers = {kept.round.id: number for number, kept in story.held.numbered}
        for each in judged_all(
            self.session, self.shelf, story.patient, held=story.held.holds_round
        ):
            yield from _score(
                each, story.number_of[each.round.visit_id], numbers[each.round.id]
            )

    def _sets(self, story: Story) -> Iterator[Raw]:
        numbers = story.number_of
        for row, visit in sets_of(self.session, story.patient.id, voided=True):
            if story.held.holds_set(row):
                felt = select(SetSymptom.symptom).where(SetSymptom.set_id == row.id)
                symptoms = self.session.exec(felt).all()
                yield {**_set(row), "visit": numbers[visit.id], "symptoms": symptoms}

    def _goals(self, story: Story) -> Iterator[Raw]:
        """Signed ones: the others are drafts."""
        for care in sorted(story.cares, key=story.cares.__getitem__):
            episode = self.session.get_one(Episode, care)
            for goal in goals_of(self.session, episode):
                if goal.signed_at is not None:
                    yield {
                        **{name: getattr(goal, name, None)
                           for name in COLUMNS["goals.csv"]},
                        "care": story.cares[care],
                        "goal": goal.number,
                        "closed": goal.close_word,
                    }  # fmt: skip


def story_of(session: Session, patient_id: int) -> Story:
    patient = session.get_one(Patient, patient_id)
    cares = sorted(episodes_of(session, patient), key=lambda e: (e.opened_on, e.id))
    return Story(
        patient,
        cares={episode.id: number for number, episode in enumerate(cares, 1)},
        settings={episode.id: episode.setting for episode in cares},
        held=released(session, patient_id),
    )


def _trial(measure: Measure | None, trial: Trial) -> Raw:
    value, unit = entered(measure, trial)
    return {
        "trial": trial.place,
        "practice": trial.practice,
        "outcome": trial.outcome,
        "reason": trial.reason,
        "value": value,
        "unit": unit or ("count" if value else ""),
        "start_mark": trial.start_mark,
        "end_mark": trial.end_mark,
        "inputs": trial.inputs,
        "splits": [time_cell(ms) for ms in trial.splits_ms],
        "voided": trial.voided_at is not None,
    }


def _score(each: Judged, visit: int, number: int) -> Iterator[Raw]:
    result = each.result
    if result is None:
        return
    score, lead = result.score, result.leading
    yield {
        "visit": visit,
        "round": number,
        "measure": score.measure,
        "variant": score.variant,
        "device": score.facts.get("device"),
        "outcome": score.outcome,
        "value": score.shown,
        "unit": score.unit,
        "lead": lead.row.key if lead and lead.row else "",
        "change": result.change.verdict if result.change else "",
        "readings": [
            (reading.row.key, reading.crossed)
            for reading in result.readings
            if reading.row and reading.matched
        ],
    }


def _set(row: ActivitySet) -> Raw:
    return {
        **{name: getattr(row, name, None) for name in COLUMNS["sets.csv"]},
        "time": None if row.time_ms is None else time_cell(row.time_ms),
        "holds": [time_cell(ms) for ms in row.holds_ms],
        "voided": row.voided_at is not None,
    }
