"""Practice through the storage: attempts that are kept, each with its key."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from sqlmodel import Session

from app.practice.attempt import Said, Way
from app.practice.case import Case, Fault, Key
from app.practice.planning import planned
from app.storage.people import Person
from app.storage.practice import draw, send
from app.storage.practice_shared import share
from tests.make import NOW, new_uid

MEASURE = "timed_up_and_go"
COUNTED, REACHED = "thirty_second_chair_stand", "functional_reach"
#: The parts of the timed one, marked 0.08 s late wherever it is watched.
SPLITS = (2_500, 5_000, 7_000, 11_000)


def practise(
    session: Session,
    person: Person,
    edition: str,
    *,
    off: int = 0,
    void: bool = False,
    says_void: bool | None = None,
    shared: bool = True,
    trial: int = 1,
    measure: str = MEASURE,
    way: Way = "watched",
    at: datetime = NOW,
) -> int:
    """One trial, `off` thousandths too much of its unit; a void one shows one fault."""
    showing, _ = draw(
        session, person, case=f"made_{measure}", measure=measure, trial=trial,
        edition=edition, uid=new_uid(), now=at,
    )  # fmt: skip
    fault = ("early_start",)
    said_void = void if says_void is None else says_void
    key = replace(
        _key(measure, showing.seed),
        faults=(Fault("early_start", 900),) if void else (), valid=not void,
    )  # fmt: skip
    said = replace(
        _said(key, off, way), faults=fault if said_void else (), valid=not said_void
    )
    attempt = send(session, person, showing, said, key, now=at)
    if shared:
        share(session, person, attempt.id, shared=True, now=at)
    return attempt.id


def _key(measure: str, seed: int) -> Key:
    """Every showing is another, which its seed decides; 12 s or longer."""
    stop = 13_000 + seed % 4_000
    return Key(
        1_000, stop, splits=SPLITS if measure == MEASURE else (),
        count=8 + seed % 7 if measure == COUNTED else None,
        distance=Decimal(12 + seed % 9) / 2 if measure == REACHED else None,
    )  # fmt: skip


def _said(key: Key, off: int, way: Way) -> Said:
    timed = key.count is None and key.distance is None
    late = off if timed else 0
    said = Said(
        count=None if key.count is None else key.count + off // 1000,
        distance=""
        if key.distance is None
        else str(key.distance + Decimal(off) / 1000),
        way=way,
    )
    if way == "words":
        return replace(said, typed_ms=key.taken_ms + late if timed else None)
    if key.distance is not None:
        return said
    return replace(
        said, start_ms=key.start_ms, stop_ms=key.stop_ms + late,
        splits=tuple(at + 80 for at in key.splits),
    )  # fmt: skip


def practise_well(
    session: Session,
    person: Person,
    edition: str,
    n: int = 20,
    *,
    shared: bool = True,
    offs: Sequence[int] = (-50, 50, 0, 100),
    measure: str = MEASURE,
    way: Way = "watched",
) -> list[int]:
    """As often as a sign-off asks for, every other trial void and seen to be."""
    return [
        practise(
            session, person, edition, off=offs[i % len(offs)], void=i % 2 == 1,
            trial=i + 1, shared=shared, measure=measure, way=way,
            at=NOW + timedelta(minutes=i),
        )
        for i in range(n)
    ]  # fmt: skip


def seed_with(case: Case, trial: int, *kinds: str) -> int:
    """The first seed by which just these things go wrong in that trial."""
    wanted = sorted(kinds)
    return next(
        seed
        for seed in range(2_000)
        if sorted(one.kind for one in planned(case, trial, seed)) == wanted
    )


def draw_next(monkeypatch: pytest.MonkeyPatch, case: Case, *kinds: str) -> int:
    """Have every showing from now on show just these faults; the trial's number."""
    trial = case.trials[0].number
    seed = seed_with(case, trial, *kinds)
    monkeypatch.setattr("app.storage.practice._seed", lambda *_: seed)
    return trial
