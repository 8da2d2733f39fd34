"""The occupational profile of an episode: before, at home, and what matters to them."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Field, Session

from app.clinical.vocabulary import FALL_QUESTIONS, LIVES_WITH, PRIOR_LEVELS
from app.storage import audit
from app.storage.episodes import Episode
from app.storage.errors import StaleVersion
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import rows_by
from app.storage.tables import Numbered, check, length, one_of


class Profile(Numbered, table=True):
    """One for an episode. `matters` holds the person's own words.

    How many falls there were is a fact of the patient; this is what came of them. An
    empty answer was not asked.
    """

    __tablename__ = "profile"
    __table_args__ = (
        one_of("prior_self_care", PRIOR_LEVELS),
        one_of("prior_mobility", PRIOR_LEVELS),
        one_of("lives_with", LIVES_WITH),
        *(one_of(name, words) for name, (_, words) in FALL_QUESTIONS.items()),
        length("home", 0, 300),
        length("helper", 0, 200),
        length("matters", 0, 500),
        check("version", "version >= 1"),
    )

    episode_id: int = Field(foreign_key="episode.id", unique=True)
    prior_self_care: str | None = None
    prior_mobility: str | None = None
    lives_with: str | None = None
    fall_injury: str | None = None
    fall_cannot_rise: str | None = None
    fall_long_lie: str | None = None
    fall_fainted: str | None = None
    frailty: str | None = None
    home: str = ""
    helper: str = ""
    matters: str = ""
    version: int = 1
    edited_at: datetime
    edited_by: int = Field(foreign_key="person.id")


def profile_of(session: Session, episode: Episode) -> Profile | None:
    return _of_episode(session, episode.id).one_or_none()


_of_episode = rows_by(Profile, "episode_id")


def write_profile(
    session: Session,
    person: Person,
    episode: Episode,
    said: Mapping[str, str | None],
    *,
    version: int,
    now: datetime,
) -> Profile:
    """Replace it; `version` is the one the editor had, 0 when there was none."""
    patient_for(session, person, episode.patient_id, "edit_patient")
    profile = profile_of(session, episode)
    if (profile.version if profile else 0) != version:
        raise StaleVersion
    if profile is None:
        profile = Profile(
            episode_id=episode.id, version=0, edited_at=now, edited_by=person.id
        )
    for name, value in said.items():
        setattr(profile, name, value)
    profile.version += 1
    profile.edited_at, profile.edited_by = now, person.id
    session.add(profile)
    session.flush()
    audit.deed(session, "wrote_profile", profile, by=person.id, now=now)
    return profile
