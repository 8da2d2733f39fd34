"""The tables of team checks; what is done with them: `team_checks.py`."""

from datetime import datetime

from sqlalchemy import JSON
from sqlmodel import Field

from app.storage.tables import Numbered, Table, length, uid

#: One showing: case, number of its trial, seed.
Shown = tuple[str, int, int]


class TeamCheck(Numbered, table=True):
    """Showings of one test under one edition of the key. Never changed."""

    __tablename__ = "team_check"
    __table_args__ = (uid(), length("measure", 1, 60), length("edition", 1, 64))

    uid: str = Field(unique=True)
    is_demo: bool
    measure: str
    edition: str
    trials: list[list[str | int]] = Field(sa_type=JSON)
    set_at: datetime
    set_by: int = Field(foreign_key="person.id")

    @property
    def showings(self) -> tuple[Shown, ...]:
        """In the order in which everybody is shown them."""
        return tuple((str(c), int(trial), int(seed)) for c, trial, seed in self.trials)


class TeamCheckMember(Table, table=True):
    """Somebody who is asked to time the trials of a check."""

    __tablename__ = "team_check_member"

    check_id: int = Field(foreign_key="team_check.id", primary_key=True)
    person_id: int = Field(foreign_key="person.id", primary_key=True, index=True)
