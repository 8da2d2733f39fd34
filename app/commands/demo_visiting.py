"""The deeds of one demo visit, each at its minute: as taps would have been."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import jinja2
from sqlalchemy import Engine
from sqlmodel import Session, select

from app.catalogue.load import Catalogue
from app.clinical.visiting import EXIT_LIST
from app.commands.demo_forms import Said
from app.commands.demo_rooms import DemoChange, DemoMeasure
from app.commands.demo_sets import DemoSet
from app.commands.demo_visits import EACH, DemoContent, DemoEnd, DemoTask
from app.settings import Settings
from app.storage.activity_sets import record_set, void_set
from app.storage.episodes import Visit
from app.storage.notes import edit_line
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    VitalSigns,
    give_code,
    record,
)
from app.storage.people import Person
from app.storage.room_measurements import (
    RoomChange,
    add_change,
    measures_in,
    move_change,
    record_measure,
)
from app.storage.safety import record_answers, stops_of_visit
from app.storage.visits import close, set_exit_items, set_kind, set_minutes
from app.version import VERSION
from app.web.deps import Site
from app.web.note_draft import draft
from app.web.note_links import own_note
from app.web.note_writing import finish
from app.web.visits import proposal

Deed = tuple[datetime, Callable[[datetime], None]]


@dataclass(frozen=True, slots=True)
class Stage:
    """Where a visit's deeds are done. The visit itself is begun by an earlier deed."""

    session: Session
    site: Site
    visits: dict[str, Visit]
    name: str
    uid_of: Callable[[str], str]

    @property
    def visit(self) -> Visit:
        return self.visits[self.name]

    @property
    def person(self) -> Person:
        return self.session.get_one(Person, self.visit.person_id)


def stage_site(engine: Engine, shelf: Catalogue, now: datetime, zone: ZoneInfo) -> Site:
    """What the makers of notes ask for; it serves no page and reads no setting."""
    return Site(
        settings=Settings.model_construct(demo=True),
        engine=engine,
        catalogue=shelf,
        templates=jinja2.Environment(autoescape=True),
        version=VERSION,
        clock=lambda: now,
        zone=zone,
        after_change=lambda _session, _today: None,
    )


def hello_deeds(stage: Stage, told: DemoContent, at: datetime) -> Iterator[Deed]:
    """The kind, what was asked and what was measured, before any test."""
    if told.kind != "treatment":
        yield at, partial(_kind, stage, told.kind)
    sets: list[tuple[Any, Said]] = [(SymptomCheck, said) for said in told.symptoms]
    sets += [(VitalSigns, said) for said in told.vitals]
    for place, (table, said) in enumerate(sets, 1):
        at += EACH
        yield at, partial(_note, stage, table, said, f"{stage.name}/seen/{place}")


def do_set(stage: Stage, told: DemoSet, name: str, now: datetime) -> None:
    """One set, and its voiding where it was voided."""
    row, _ = record_set(
        stage.session, stage.person, stage.visit, told.activity,
        uid=stage.uid_of(name), body=told.body, at=now, now=now,
    )  # fmt: skip
    if told.voided:
        void_set(stage.session, stage.person, row.id, reason=told.voided, now=now)


def task_deeds(stage: Stage, told: DemoContent, at: datetime) -> Iterator[Deed]:
    """Tasks of the day after the tests; then rooms, and what to change there."""
    for place, task in enumerate(told.tasks, 1):
        at += EACH
        yield at, partial(_task, stage, task, f"{stage.name}/task/{place}")
    for place, measured in enumerate(told.rooms, 1):
        at += EACH
        yield at, partial(_measure, stage, measured, f"{stage.name}/room/{place}")
    for change in told.changes:
        at += EACH
        yield at, partial(_change, stage, change)


def end_deeds(stage: Stage, end: DemoEnd, at: datetime) -> Iterator[Deed]:
    """The door closes `at`; what is handed in or signed is written a little later."""
    yield at, partial(_leave, stage, end)
    if end.own_words:
        yield at + EACH, partial(_write, stage, end.own_words)


def _kind(stage: Stage, kind: str, now: datetime) -> None:
    set_kind(stage.session, stage.person, stage.visit, kind, now)


def _note(stage: Stage, table: Any, said: Said, name: str, now: datetime) -> None:
    uid = stage.uid_of(name)
    record(stage.session, stage.person, stage.visit, table, said, uid=uid, now=now)


def _task(stage: Stage, task: DemoTask, name: str, now: datetime) -> None:
    row = record(
        stage.session, stage.person, stage.visit, TaskObservation, task.said,
        uid=stage.uid_of(name), now=now,
    )  # fmt: skip
    if task.code:
        offer = proposal(row)
        code = offer.code if offer else None
        give_code(
            stage.session, stage.person, row, task.code, proposed=code, now=now
        )  # fmt: skip


def _leave(stage: Stage, end: DemoEnd, now: datetime) -> None:
    _answer_stops(stage, now)
    if end.minutes:
        set_minutes(stage.session, stage.person, stage.visit, end.minutes, now)
    if not end.left_without:
        states = dict.fromkeys(EXIT_LIST, "done") | {"hand_off": end.hand_off}
        states["strip"] = end.strip
        set_exit_items(stage.session, stage.person, stage.visit, states, now)
    close(
        stage.session, stage.person, stage.visit, without_list=end.left_without, now=now
    )  # fmt: skip


def _answer_stops(stage: Stage, now: datetime) -> None:
    """Nobody of the demo falls: whoever was stopped sat down."""
    for stop in stops_of_visit(stage.session, stage.visit):
        if stop.is_unanswered:
            record_answers(
                stage.session, stage.person, stop.row.id, {"what": "seated"},
                of=stop.of, base_id=None, now=now,
            )  # fmt: skip


def _write(stage: Stage, own_words: str, now: datetime) -> None:
    """Their words as a line of their own; then it is signed, or handed in."""
    note, uid = own_note(stage.visit), stage.uid_of(f"{stage.name}/own words")
    edit_line(
        stage.session, stage.person, stage.visit, note, key=f"own-{uid}",
        section="assessment", text=own_words, made="", uid=uid, now=now,
    )  # fmt: skip
    made = draft(stage.session, stage.site, stage.visit, note)
    finish(stage.session, stage.site, stage.person, stage.visit, made, now)


def _measure(stage: Stage, told: DemoMeasure, name: str, now: datetime) -> None:
    session, uid = stage.session, stage.uid_of(name)
    row, _ = record_measure(
        session, stage.person, stage.visit, told.said, uid=uid, now=now
    )
    if told.of:
        wanted = select(RoomChange).where(RoomChange.uid == _change_uid(stage, told.of))
        change = session.exec(wanted).one()
        move_change(session, stage.person, change, "done", now=now, after_id=row.id)


def _change(stage: Stage, told: DemoChange, now: datetime) -> None:
    session, uid = stage.session, _change_uid(stage, told.name)
    seen = {row.thing: row.id for row in measures_in(session, stage.visit)}
    said = {**told.said, "before_id": seen[told.before]}
    row = add_change(session, stage.person, stage.visit, said, uid=uid, now=now)
    move_change(session, stage.person, row, told.state, now=now)


def _change_uid(stage: Stage, name: str) -> str:
    """Of this patient's change, whichever visit named it."""
    return stage.uid_of(f"{stage.name.rpartition('/')[0]}/change/{name}")
