"""The demo's people and patients as `demo_data` tells them, everything in days ago.

Read strictly, and by the catalogue's own functions for set-ups and trials: what the
bedside would refuse is refused here, naming file, table and key.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any

import tomli

from app.access import ROLES, STUDENT
from app.catalogue.fields import CatalogueError, Table
from app.catalogue.load import Catalogue
from app.clinical.measure import Measure
from app.clinical.person import OLDEST, YOUNGEST
from app.clinical.precautions import PRECAUTIONS, clearance
from app.clinical.quantities import BadNumber
from app.clinical.scoring import Trial, between_marks, read_trial
from app.clinical.setup import BadFact, read_facts
from app.clinical.vocabulary import (
    OUTCOMES,
    SETTINGS,
    SEXES,
    UNABLE_REASONS,
)
from app.commands.demo_goals import DemoGoal, read_demo_goal
from app.commands.demo_person import read_conditions, read_facts_of, read_sizes
from app.commands.demo_rooms import check_changes
from app.commands.demo_sets import DemoSet, check_sets, read_sets
from app.commands.demo_visits import EACH, DemoContent, read_content
from app.storage.episodes import PLANS
from app.storage.trials import TrialBody

_MARK = re.compile(r"\d{1,3}(?:\.\d{1,2})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class DemoPerson:
    """Somebody invented who works at the demo site."""

    handle: str
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class DemoTrial:
    """One trial as a phone would have sent it. `voided` is the reason, if it was."""

    body: TrialBody
    voided: str


@dataclass(frozen=True, slots=True)
class DemoRound:
    """The trials of one test under one set-up."""

    measure: str
    variant: str
    facts: dict[str, str]
    trials: tuple[DemoTrial, ...]


@dataclass(frozen=True, slots=True)
class DemoVisit:
    """One contact: how long ago, at what time of day, and by whom."""

    days_ago: int
    at: time
    by: str
    rounds: tuple[DemoRound, ...]
    sets: tuple[DemoSet, ...]
    content: DemoContent

    @property
    def over(self) -> time:
        """When the last thing told of it was done; a visit ends on its own day."""
        told = self.content
        things = (told.symptoms, told.vitals, told.tasks, told.rooms, told.changes)
        trials = sum(len(round.trials) for round in self.rounds)
        spent = EACH * (trials + len(self.sets) + sum(map(len, things)))
        return (datetime.combine(date.min, self.at) + spent).time()


@dataclass(frozen=True, slots=True)
class DemoPrecaution:
    """Set so long ago; lifted so long ago, or still in force."""

    tag: str
    note: str
    set_by: str
    days_ago: int
    lifted_days_ago: int | None
    review_in_days: int | None

    def held(self, days_ago: int) -> bool:
        lifted = self.lifted_days_ago
        return days_ago <= self.days_ago and (lifted is None or days_ago > lifted)


@dataclass(frozen=True, slots=True)
class DemoPatient:
    """One invented patient with one episode of care.

    `age` is today's, with a known birth date. `turns` is the age turned in the year of
    the latest visit when only the birth year is known. Exactly one of them is given.
    """

    label: str
    age: int | None
    turns: int | None
    sex: str | None
    assigned: tuple[str, ...]
    reason: str
    setting: str
    plan: str
    opened_days_ago: int
    conditions: Mapping[str, int | None] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)
    sizes: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    precautions: tuple[DemoPrecaution, ...] = ()
    visits: tuple[DemoVisit, ...] = ()
    goals: tuple[DemoGoal, ...] = ()


@dataclass(frozen=True, slots=True)
class DemoStory:
    """All there is to make a demo site of."""

    people: tuple[DemoPerson, ...]
    patients: tuple[DemoPatient, ...]


def read_story(folder: Path, shelf: Catalogue) -> DemoStory:
    """Read `folder`/people.toml and `folder`/patients/*.toml; raise CatalogueError."""
    people = _people(_read(folder / "people.toml"))
    handles = {person.handle: person.role for person in people}
    patients: dict[str, DemoPatient] = {}
    for path in sorted((folder / "patients").glob("*.toml")):
        patient = _patient(_read(path), shelf, handles)
        if patient.label in patients:
            raise CatalogueError(f"{path.name}: label: another file has it too")
        patients[patient.label] = patient
    return DemoStory(people, tuple(patients.values()))


def _read(path: Path) -> Table:
    try:
        told = tomli.loads(path.read_text("utf-8"), parse_float=Decimal)
    except (OSError, ValueError) as fault:
        raise CatalogueError(f"{path.name}: {fault}") from fault
    return Table(told, path.name)


def _people(t: Table) -> tuple[DemoPerson, ...]:
    people = []
    for row in t.tables("person"):
        person = DemoPerson(
            row.text("handle"), row.text("name"), row.word("role", ROLES)
        )
        row.done()
        people.append(person)
    t.done()
    return tuple(people)


def _days(t: Table, key: str) -> int:
    """A number of days that must be given and cannot lie in the future."""
    days = t.whole(key)
    if days is None or days < 0:
        raise t.wrong(key, "must be a whole number of days, 0 or more")
    return days


def _patient(t: Table, shelf: Catalogue, handles: Mapping[str, str]) -> DemoPatient:
    t.text("shows")  # for readers of the file
    age, turns = _age(t, "age"), _age(t, "turns")
    if (age is None) == (turns is None):
        raise t.wrong("age", "give either age or turns")
    made = DemoPatient(
        label=t.text("label"),
        age=age,
        turns=turns,
        sex=t.word("sex", SEXES) if t.has("sex") else None,
        assigned=t.words("assigned", handles),
        conditions=read_conditions(t),
        facts=read_facts_of(t),
        sizes=read_sizes(t),
        **_episode(t),
        precautions=tuple(map(_precaution, t.tables("precaution"))),
        visits=tuple(_visit(v, shelf, handles) for v in t.tables("visit")),
        goals=tuple(
            read_demo_goal(g, shelf.measures, handles) for g in t.tables("goal")
        ),
    )
    if not made.assigned:
        raise t.wrong("assigned", "name who is responsible")
    t.done()
    _consistent(t, made, shelf, handles)
    return made


def _age(t: Table, key: str) -> int | None:
    years = t.whole(key)
    if years is not None and not YOUNGEST <= years <= OLDEST:
        raise t.wrong(key, f"must be {YOUNGEST} to {OLDEST}")
    return years


def _episode(t: Table) -> dict[str, Any]:
    episode = Table(t.table("episode"), f"{t.where}: episode")
    told = {
        "reason": episode.text("reason"),
        "setting": episode.word("setting", SETTINGS),
        "plan": episode.word("plan", PLANS),
        "opened_days_ago": _days(episode, "opened_days_ago"),
    }
    episode.done()
    return told


def _precaution(t: Table) -> DemoPrecaution:
    lifted = _days(t, "lifted_days_ago") if t.has("lifted_days_ago") else None
    made = DemoPrecaution(
        tag=t.word("tag", PRECAUTIONS),
        note=t.text("note", ""),
        set_by=t.text("set_by"),
        days_ago=_days(t, "days_ago"),
        lifted_days_ago=lifted,
        review_in_days=t.whole("review_in_days"),
    )
    if lifted is not None and lifted > made.days_ago:
        raise t.wrong("lifted_days_ago", "lies before it was set")
    t.done()
    return made


def _visit(t: Table, shelf: Catalogue, handles: Mapping[str, str]) -> DemoVisit:
    try:
        at = time.fromisoformat(t.text("at"))
    except ValueError as fault:
        raise t.wrong("at", "write a time of day like 09:40") from fault
    made = DemoVisit(
        days_ago=_days(t, "days_ago"),
        at=at,
        by=t.word("by", handles),
        rounds=tuple(_round(r, shelf) for r in t.tables("round")),
        sets=read_sets(t, shelf),
        content=read_content(t, shelf),
    )
    if made.content.end is not None and made.content.end.until <= made.over:
        raise t.wrong("until", f"not before {made.over:%H:%M}: more was done in it")
    if not made.days_ago:
        raise t.wrong("days_ago", "today belongs to whoever tries the demo")
    t.done()
    return made


def _round(t: Table, shelf: Catalogue) -> DemoRound:
    measure = shelf.measures[t.word("measure", shelf.measures)]
    variants = [v.id for v in measure.variants]
    made = DemoRound(
        measure=measure.id,
        variant=t.word("variant", variants, variants[0]),
        facts=_setup(t, measure),
        trials=tuple(_trial(trial, measure) for trial in t.tables("trial")),
    )
    if not made.trials and not measure.components:
        raise t.wrong("trial", "a round needs one")
    t.done()
    return made


def _setup(t: Table, measure: Measure) -> dict[str, str]:
    given = {key: " ".join(words) for key, words in t.lists("facts").items()}
    try:
        return read_facts(measure, given)
    except BadFact as fault:
        raise t.wrong("facts", str(fault)) from fault


def _trial(t: Table, measure: Measure) -> DemoTrial:
    outcome = t.word("outcome", OUTCOMES, "completed")
    told: dict[str, Any] = {
        "outcome": outcome,
        "reason": _reason(t, outcome),
        "practice": t.flag("practice"),
        "inputs": _inputs(t, measure),
    }
    if outcome == "completed":
        told |= _number(t, measure)
    told["splits_ms"] = _splits(t, measure, told.get("raw_ms"))
    voided = t.text("voided", "")
    t.done()
    return DemoTrial(TrialBody(**told), voided)


def _reason(t: Table, outcome: str) -> str:
    if outcome == "completed":
        return ""
    return t.word("reason", UNABLE_REASONS) if outcome == "unable" else t.text("reason")


def _inputs(t: Table, measure: Measure) -> dict[str, str]:
    inputs = Table(t.table("inputs"), f"{t.where}: inputs")
    found = {i.key: inputs.text(i.key) for i in measure.inputs if inputs.has(i.key)}
    inputs.done()
    return found


def _number(t: Table, measure: Measure) -> dict[str, Any]:
    """What was timed, measured or counted, as the phone would send it."""
    marks = t.words("marks")
    try:
        if marks:
            return _between(t, measure, marks)
        trial = read_trial(measure, t.text("result"))
    except BadNumber as fault:
        raise t.wrong("marks" if marks else "result", str(fault)) from fault
    value = _value(trial)
    if measure.timed:
        return {"raw_ms": int(value * 1000)}
    if measure.kind == "distance":
        return {"raw_value": str(value), "raw_unit": trial.unit}
    return {"count": int(value)}


def _value(trial: Trial) -> Decimal:
    assert trial.value is not None
    return trial.value


def _between(t: Table, measure: Measure, marks: tuple[str, ...]) -> dict[str, Any]:
    if len(marks) != 2 or not all(_MARK.fullmatch(mark) for mark in marks):
        raise t.wrong("marks", 'write the start and the end, like ["3.5", "13"]')
    unit = t.word("unit", measure.units)
    value = _value(between_marks(measure, *marks, unit))
    return {
        "raw_value": str(value),
        "raw_unit": unit,
        "start_mark": marks[0],
        "end_mark": marks[1],
    }


def _splits(t: Table, measure: Measure, whole_ms: int | None) -> list[int]:
    splits = [int(seconds * 1000) for seconds in t.numbers("splits_s")]
    if splits:
        rising = sorted(set(splits)) == splits and splits[0] > 0
        if not rising or whole_ms is None or splits[-1] > whole_ms:
            raise t.wrong("splits_s", "must rise, and end before the trial does")
        if len(splits) > len(measure.splits):
            raise t.wrong("splits_s", f"{measure.id} has {len(measure.splits)}")
    return splits


def _consistent(
    t: Table, patient: DemoPatient, shelf: Catalogue, handles: Mapping[str, str]
) -> None:
    """Nothing before the episode, and nothing that an order forbade."""
    check_changes(t, [(v.content.rooms, v.content.changes) for v in patient.visits])
    for place, visit in enumerate(patient.visits, 1):
        if visit.days_ago > patient.opened_days_ago:
            raise t.wrong(f"visit {place}: days_ago", "before the episode opened")
        tags = [p.tag for p in patient.precautions if p.held(visit.days_ago)]
        where = f"{t.where}: visit {place}"
        student = handles[visit.by] == STUDENT
        check_sets(where, visit.sets, shelf, tags, may_override=not student)
        for round in visit.rounds:
            measure = shelf.measures[round.measure]
            blocked = clearance(measure.must_not, (), tags).blocked_by
            tried = not round.trials or any(
                trial.body.outcome not in ("declined", "not_done")
                for trial in round.trials
            )
            if blocked and tried:
                raise t.wrong(
                    f"visit {place}: {measure.id}", f"in force: {blocked[0].label}"
                )
