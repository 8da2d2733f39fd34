"""A home sheet as it is read at home, and as the therapist is told of it."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical import home_sheet as words
from app.clinical.activity import Activity
from app.storage.episodes import Episode
from app.storage.home_sheets import (
    HomeSheet,
    HomeSheetItem,
    current_sheet,
    items_of,
)
from app.storage.precautions import precautions_on
from app.web.dates import day_words
from app.web.strip_picture import StripPicture, strip_pictures


@dataclass(frozen=True, slots=True)
class Practice:
    """One activity in plain words. `how_much` and `set_at` are whole lines."""

    name: str
    steps: tuple[str, ...]
    how_much: str
    set_at: str
    pictures: list[StripPicture]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPaper:
    """Everything that is printed. It names nobody."""

    practices: tuple[Practice, ...]
    helper: str
    change: str
    strip: str


@dataclass(frozen=True, slots=True)
class SheetLine:
    """The sheet at home now; `against` says why it must be taken back."""

    sheet_id: int
    made: str
    against: tuple[str, ...]


def paper(
    shelf: Catalogue,
    sheet: HomeSheet,
    items: Sequence[HomeSheetItem],
    in_force: Collection[str],
) -> SheetPaper:
    """What is printed; every activity of the sheet must still be in the catalogue."""
    activities = [shelf.activities[item.activity] for item in items]
    other = sheet.home_change == "other"
    return SheetPaper(
        practices=tuple(
            practice(activity, Decimal(item.grade), item.sets, item.times_a_week)
            for activity, item in zip(activities, items, strict=True)
        ),
        helper=words.HELPERS[sheet.helper],
        change=sheet.change_words if other else words.CHANGES[sheet.home_change],
        strip=words.strip_words(activities, in_force),
    )


def practice(activity: Activity, grade: Decimal, sets: int, times: int) -> Practice:
    """An activity with home words, as a sheet says it."""
    assert activity.home is not None
    said = activity.grade.words(grade)
    return Practice(
        name=activity.home.name,
        steps=activity.home.steps,
        how_much=how_much(activity.dose.words, sets, times),
        set_at=f"{said[:1].upper()}{said[1:]}.",
        pictures=strip_pictures(activity, grade, noted=False),
    )


def how_much(amount: str, sets: int, times: int) -> str:
    """`2 sets, 5 times a week. Each set: 8-10 each side, 2-3 seconds hold.`

    >>> how_much("10", 1, 1)
    '1 set, 1 time a week. Each set: 10.'
    """
    said = re.sub(r"(?<=\d) s\b", " seconds", amount).removesuffix(" per rung")
    a_set = "1 set" if sets == 1 else f"{sets} sets"
    a_week = "1 time" if times == 1 else f"{times} times"
    return f"{a_set}, {a_week} a week. Each set: {said}."


def reasons(
    activities: Mapping[str, Activity],
    items: Sequence[HomeSheetItem],
    in_force: Collection[str],
) -> tuple[str, ...]:
    """Why the sheet may stay at home no longer; empty when it may."""
    said = []
    for item in items:
        activity = activities.get(item.activity)
        if activity is None or activity.home is None:
            said.append(f"{item.activity}: no longer one that a helper may lead.")
        else:
            against = words.against(activity, in_force)
            said += [f"{activity.name}: {reason}" for reason in against]
    return tuple(said)


def sheet_line(
    session: Session, shelf: Catalogue, patient_id: int, today: date, zone: ZoneInfo
) -> SheetLine | None:
    """What the brief says of the sheet at home; None when there is none.

    Orders belong to the person, so they count with every stretch of care closed too.
    """
    sheet = current_sheet(session, patient_id)
    if sheet is None:
        return None
    episode = session.get_one(Episode, sheet.episode_id)
    tags = {p.tag for p in precautions_on(session, episode, today)}
    against = reasons(shelf.activities, items_of(session, sheet), tags)
    made = day_words(sheet.made_at.astimezone(zone).date(), today)
    return SheetLine(sheet.id, made, against)
