"""What was taught and handed on in a visit, as events of it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.clinical.hand_off import AUDIENCES, spoken_seconds
from app.clinical.teaching import taught_words
from app.clinical.visiting import HAND_OFF_TO
from app.storage.episodes import Visit
from app.storage.hand_offs import HandOff, hand_offs_in
from app.storage.teaching import taught_of, teaching_in


@dataclass(frozen=True, slots=True)
class Passed:
    """One of them; `kind` is `teaching` or `hand_off`."""

    at: datetime
    kind: str
    says: str
    by: int
    voided: str
    id: int


def passed_on(session: Session, visit: Visit) -> Iterator[Passed]:
    """All of a visit: first what was taught, then what was handed off."""
    for row in teaching_in(session, visit):
        says, void = taught_words(taught_of(row)), row.void_reason or ""
        yield Passed(row.recorded_at, "teaching", says, row.recorded_by, void, row.id)
    for given in hand_offs_in(session, visit):
        says = hand_off_words(given)
        yield Passed(given.given_at, "hand_off", says, given.given_by, "", given.id)


def hand_off_words(row: HandOff) -> str:
    """`Handed off to nurse (nursing), about 24 s; read back`."""
    back = "read back" if row.read_back else "not read back"
    to = HAND_OFF_TO[row.given_to]
    about = AUDIENCES[row.audience]
    kind = f" ({about})" if about != to else ""
    return f"Handed off to {to}{kind}, about {spoken_seconds(row.lines)} s; {back}"
