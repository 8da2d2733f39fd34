"""A process that records trials and says each id only after its commit.

Started and killed by test_durability; argument 1 is the database's address.
"""

import itertools
import sys

from sqlmodel import Session, select

from app.storage.database import make_engine, write_session
from app.storage.people import Person
from app.storage.trials import Round
from tests.make import make_trial


def record_one(session: Session) -> str:
    person = session.exec(select(Person).where(Person.handle == "therapist")).one()
    return make_trial(session, person, session.exec(select(Round)).one()).uid


def main(url: str) -> None:
    engine = make_engine(url)
    for _ in itertools.count():
        with write_session(engine) as session:
            uid = record_one(session)
        print(uid, flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
