"""Practice through the storage: attempts that are kept, each with its key."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlmodel import Session

from app.practice.attempt import Said
from app.practice.case import Fault, Key
from app.storage.people import Person
from app.storage.practice import draw, send, share
from tests.make import NOW, new_uid

MEASURE = "timed_up_and_go"


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
    at: datetime = NOW,
) -> int:
    """One trial of 12 s, timed `off` ms too long; a void one shows one fault."""
    showing, _ = draw(
        session, person, case=f"made_{measure}", measure=measure, trial=trial,
        edition=edition, uid=new_uid(), now=at,
    )  # fmt: skip
    said_void = void if says_void is None else says_void
    fault = ("early_start",)
    # Every showing has a length of its own, which its seed decides.
    stop = 13_000 + showing.seed % 4_000
    attempt = send(
        session, person, showing,
        Said(start_ms=1_000, stop_ms=stop + off, faults=fault if said_void else (),
             valid=not said_void),
        Key(1_000, stop, faults=(Fault("early_start", 900),) if void else (),
            valid=not void),
        now=at,
    )  # fmt: skip
    if shared:
        share(session, person, attempt.id, shared=True, now=at)
    return attempt.id


def practise_well(
    session: Session,
    person: Person,
    edition: str,
    n: int = 20,
    *,
    shared: bool = True,
    offs: Sequence[int] = (-50, 50, 0, 100),
    measure: str = MEASURE,
) -> list[int]:
    """As often as a sign-off asks for, every other trial void and seen to be."""
    return [
        practise(
            session, person, edition, off=offs[i % len(offs)], void=i % 2 == 1,
            trial=i + 1, shared=shared, measure=measure, at=NOW + timedelta(minutes=i),
        )
        for i in range(n)
    ]  # fmt: skip
