"""A large site with its therapists signed in, and a bare app of the same pages."""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from uuid import uuid4

from sqlmodel import Session, col, select

from app.settings import Settings
from app.storage import people
from app.storage.assignments import Assignment
from app.storage.database import make_engine, write_session
from app.storage.episodes import Episode
from app.storage.people import Person
from tests.live import Live, environment, started
from tests.load.browsers import Stay, browser_of
from tests.load.site import EACH, make_site
from tests.make import make_round, make_visit

#: Patients each therapist goes to in turn, and trials that everybody has already.
GOES_TO, TRIALS_EACH = 5, 20
BARE: Final = (sys.executable, "-m", "tests.load.bare")


@dataclass(frozen=True, slots=True)
class Therapist:
    """By the token of a sign-in."""

    token: str
    stays: tuple[Stay, ...]


@dataclass(frozen=True, slots=True)
class Ward:
    """A site that is not served yet, and who will work at it."""

    settings: Settings
    therapists: tuple[Therapist, ...]


def make_ward(folder: Path, therapists: int, database: str = "") -> Ward:
    """Forty patients for each, and a round of today with five of them."""
    patients = therapists * EACH
    settings = make_site(folder, patients, patients * TRIALS_EACH, database)
    engine = make_engine(settings.database)
    with write_session(engine) as session:
        wanted = select(Person).where(Person.role == "therapist")
        found = tuple(
            _therapist(session, who, settings) for who in session.exec(wanted)
        )
    engine.dispose()
    return Ward(settings, found)


def _therapist(session: Session, person: Person, settings: Settings) -> Therapist:
    now, stays = datetime.now(UTC), []
    for patient_id in _on_list(session, person):
        wanted = select(Episode).where(Episode.patient_id == patient_id)
        episode = session.exec(wanted).one()
        visit = make_visit(session, person, episode, now=now, zone=settings.zone)
        round = make_round(session, person, visit, facts={"device": "none"}, now=now)
        at = f"/rounds/{round.id}"
        stays.append(Stay(("/caseload", f"/patients/{patient_id}", at), f"{at}/trials"))
    return Therapist(people.start_sign_in(session, person, now), tuple(stays))


def _on_list(session: Session, person: Person) -> Sequence[int]:
    wanted = select(Assignment.patient_id).where(Assignment.person_id == person.id)
    return session.exec(wanted.order_by(col(Assignment.id)).limit(GOES_TO)).all()


@contextmanager
def bare_served(folder: Path, ward: Ward, live: Live) -> Iterator[tuple[Live, Stay]]:
    """A bare app that answers with the very texts of the first therapist's pages."""
    pages, first = folder / "pages", ward.therapists[0]
    pages.mkdir(parents=True)
    stay, names = first.stays[0], []
    with browser_of(live.url, first.token, packed=False) as browser:
        for number, path in enumerate(stay.pages):
            names.append(f"/pages/{number}.html")
            (pages / f"{number}.html").write_bytes(browser.get(path).body)
        saved = browser.save(stay.saves_at, uuid4().hex, 12_340)
        (pages / "saved.html").write_bytes(saved.body)
    database = ward.settings.database_url or f"sqlite:///{folder / 'bare.sqlite'}"
    told = ("--database", database, "--pages", str(pages))
    with started(*told, command=BARE, env=environment()) as bare:
        yield bare, Stay(tuple(names), "/trials")
