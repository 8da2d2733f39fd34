"""The demo's practice, as `demo_data/practised.toml` tells it: a robot's attempts.

Each is drawn, sent and shared by the program's own deeds, at its time. What the robot
is late by, and overlooks, comes from a seed: the same day gives the same site.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import partial
from itertools import cycle, islice
from pathlib import Path
from typing import Final, Protocol

import tomli
from sqlmodel import Session, select

from app.catalogue.fields import Table
from app.clinical.measure import Measure
from app.practice.attempt import Said
from app.practice.case import Case, Key
from app.practice.chance import Chance
from app.practice.competence import DEFAULT, months_after, standing
from app.practice.timeline import key_of
from app.resources import folder
from app.storage.competence import set_list, sign
from app.storage.people import Person
from app.storage.practice import SEEDS, draw, send
from app.storage.practice_shared import keep_shared, share
from app.storage.team_check_rows import Shown, TeamCheck
from app.storage.team_checks import set_check
from app.web.practice_book import book
from app.web.practised import shared_by
from app.web.standing_view import figures_of

FILE: Final = "practised.toml"
LISTED: Final = time(7, 0)
PRACTISED: Final = time(7, 30)
SIGNED: Final = time(16, 30)

Deed = tuple[datetime, Callable[[datetime], None]]


class Making(Protocol):
    """What the demo's deeds share (`demo_site.py`)."""

    session: Session
    people: dict[str, Person]

    def day(self, days_ago: int) -> date: ...
    def instant(self, days_ago: int, at: time) -> datetime: ...


@dataclass(frozen=True, slots=True)
class Robot:
    """How late it presses, and how often it overlooks a fault: one in `misses`."""

    late: tuple[int, int]
    misses: int

    def says(self, key: Key, measure_kind: str, seed: int) -> Said:
        chance = Chance("robot", seed)
        faults = tuple(sorted({fault.kind for fault in key.faults}))
        if self.misses and chance.between(0, self.misses) < 1:
            faults = faults[1:]
        start = key.start_ms + chance.ms(self.late) // 2
        overlooked = len(faults) < len({fault.kind for fault in key.faults})
        return Said(
            start_ms=start,
            stop_ms=max(start, key.stop_ms + chance.ms(self.late)),
            count=key.count if measure_kind == "count" else None,
            faults=faults,
            valid=True if overlooked else key.valid,
            way="watched",
        )


def practice_deeds(
    making: Making, uid_of: Callable[[str], str], measures: Mapping[str, Measure]
) -> Iterator[Deed]:
    """All that the file tells, each with its time; CatalogueError for a bad file."""
    path: Path = folder("demo_data") / FILE
    told = Table(tomli.loads(path.read_text("utf-8")), path.name)
    stage = _Stage(making, uid_of, measures)
    for place, row in enumerate(told.tables("run"), 1):
        yield from stage.run(row, f"practice/{place}")
    for row in told.tables("list"):
        yield stage.listed(row)
    for place, row in enumerate(told.tables("sign_off"), 1):
        yield stage.signed(row, f"sign-off/{place}")
    for place, row in enumerate(told.tables("check"), 1):
        yield from stage.checked(row, f"check/{place}")
    told.done()


def _span(row: Table, key: str) -> tuple[int, int]:
    low, high = row.numbers(key)
    return int(low), int(high)


def _trials(row: Table) -> dict[str, int]:
    return {name: int(str(many)) for name, many in row.table("trials").items()}


def _showings(measure: str, many: int, name: str) -> Iterator[Shown]:
    """Every trial of the test in turn, each with a seed made from its place."""
    trials = [
        (case.id, plan.number)
        for case in book().cases.values()
        if case.measure == measure
        for plan in case.trials
    ]
    chance = Chance("demo practice", name)
    for case, trial in islice(cycle(trials), many):
        yield case, trial, int(chance.between(0, SEEDS))


def _check(session: Session, uid: str) -> TeamCheck:
    return session.exec(select(TeamCheck).where(TeamCheck.uid == uid)).one()


@dataclass(frozen=True, slots=True)
class _Stage:
    making: Making
    uid_of: Callable[[str], str]
    measures: Mapping[str, Measure]

    def at(self, row: Table, hour: time) -> datetime:
        return self.making.instant(row.whole("days_ago") or 0, hour)

    def run(self, row: Table, name: str) -> Iterator[Deed]:
        """As many trials of a test as were practised, one after another."""
        by, measure = row.text("by"), row.text("measure")
        at, shared = self.at(row, PRACTISED), row.flag("shared")
        robot = Robot(_span(row, "late"), row.whole("misses") or 0)
        shown = _showings(measure, row.whole("trials") or 0, name)
        row.done()
        for place, one in enumerate(shown, 1):
            each = f"{name}/{place}"
            yield at, partial(self._practise, by, one, robot, each, shared, None)

    def _practise(
        self, by: str, shown: Shown, robot: Robot, name: str, shared: bool,
        of_check: tuple[str, int] | None, now: datetime,
    ) -> None:  # fmt: skip
        session, person = self.making.session, self.making.people[by]
        case: Case = book().cases[shown[0]]
        uid = self.uid_of(name)
        check = _check(session, self.uid_of(of_check[0])) if of_check else None
        showing, _ = draw(
            session, person, case=case.id, measure=case.measure, trial=shown[1],
            edition=book().edition, uid=uid, now=now, seed=shown[2],
            of_check=(check.id, of_check[1]) if check and of_check else None,
        )  # fmt: skip
        key = key_of(case, shown[1], shown[2])
        said = robot.says(key, self.measures[case.measure].kind, shown[2])
        attempt = send(session, person, showing, said, key, now=now)
        if shared:
            share(session, person, attempt.id, shared=True, now=now)

    def listed(self, row: Table) -> Deed:
        by, who = row.text("by"), row.text("for")
        at, trials = self.at(row, LISTED), _trials(row)
        row.done()
        return at, partial(self._list, by, who, trials)

    def _list(self, by: str, who: str, trials: dict[str, int], now: datetime) -> None:
        people = self.making.people
        set_list(self.making.session, people[by], people[who], trials, now)

    def signed(self, row: Table, name: str) -> Deed:
        by, who, measure = row.text("by"), row.text("for"), row.text("measure")
        days, words = row.whole("days_ago") or 0, row.text("words")
        at = self.making.instant(days, SIGNED)
        until = months_after(self.making.day(days), row.whole("months") or 0)
        row.done()
        return at, partial(self._sign, by, who, measure, words, until, name)

    def _sign(
        self, by: str, who: str, measure: str, words: str, until: date, name: str,
        now: datetime,
    ) -> None:  # fmt: skip
        session, people = self.making.session, self.making.people
        shared = shared_by(session, people[who])
        found = standing(shared, measure, book().edition, DEFAULT)
        sign(
            session, people[by], people[who], uid=self.uid_of(name), measure=measure,
            edition=book().edition, figures=figures_of(found), words=words,
            until=until, now=now,
        )  # fmt: skip
        keep_shared(session, found.judged)

    def checked(self, row: Table, name: str) -> Iterator[Deed]:
        """Set for several; one of them has done it."""
        by, measure, done_by = (row.text(k) for k in ("by", "measure", "done_by"))
        robot = Robot(_span(row, "late"), row.whole("misses") or 0)
        shown = tuple(_showings(measure, row.whole("trials") or 0, name))
        people, at = row.words("people"), self.at(row, LISTED)
        row.done()
        yield at, partial(self._check, by, measure, shown, people, name)
        for place, one in enumerate(shown, 1):
            each = f"{name}/{place}"
            did = partial(self._practise, done_by, one, robot, each, True)
            yield at, partial(did, (name, place))

    def _check(
        self, by: str, measure: str, shown: tuple[Shown, ...], people: tuple[str, ...],
        name: str, now: datetime,
    ) -> None:  # fmt: skip
        making = self.making
        set_check(
            making.session, making.people[by], uid=self.uid_of(name), measure=measure,
            edition=book().edition, showings=shown,
            people=[making.people[handle].id for handle in people], now=now,
        )  # fmt: skip
