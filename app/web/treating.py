"""What was said of today for treatment, and every activity with its reasons for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.assistance import LEVELS
from app.clinical.choosing import MINUTES, Today
from app.clinical.lately import lately
from app.clinical.treating import PEOPLE, Offer, Suggestions, matches, suggest
from app.clinical.vocabulary import ABILITIES, ROOM_ITEMS
from app.storage.episodes import open_episode
from app.storage.errors import NotFound
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.plans import favourites_of
from app.web.activity_words import deficit_words
from app.web.deficits import deficits_of
from app.web.deps import Form
from app.web.done_sets import done_sets
from app.web.planning import Planned, may_go_against, planned, tags_on

#: So many stand open at first; the others that fit are a touch away.
FIRST = 6


@dataclass(frozen=True, slots=True)
class Shown:
    """A deficit that holds: its words, and the sentences that name it."""

    key: str
    words: str
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Treat:
    """All of the page: what was shown, what is offered for it, and the rest."""

    shown: tuple[Shown, ...]
    named: Mapping[str, str]
    first: tuple[Offer, ...]
    more: tuple[Offer, ...]
    hidden: tuple[Offer, ...]
    plan: Planned


def _searched(shelf: Catalogue) -> Mapping[str, str]:
    """All words by which somebody may look for what a deficit asks for."""
    return {
        key: " ".join((deficit.words, deficit.shown_by, *deficit.other_words))
        for key, deficit in shelf.deficits.named.items()
    }


def treat(
    session: Session,
    shelf: Catalogue,
    me: Person,
    patient: Patient,
    said: Today,
    today: date,
    zone: ZoneInfo,
    *,
    only: str = "",
    typed: str = "",
) -> Treat:
    """`only` narrows to one deficit, `typed` to what those words find; both show all
    that they name, offered and not."""
    named = deficit_words(shelf)
    if only and only not in named:
        raise NotFound("There is no such deficit.")
    view = deficits_of(session, shelf, patient, today, zone)
    held = {key: named[key] for key in view.keys if key in named}
    episode = open_episode(session, patient)
    tags = tags_on(session, episode, today)
    asked = {only: named[only]} if only else held
    found = _suggested(session, shelf, me, patient, said, asked, view.because, tags)
    if only or typed:
        found = _narrowed(found, only, typed, _searched(shelf))
    return Treat(
        tuple(Shown(k, w, tuple(view.because.get(k, ()))) for k, w in held.items()),
        named,
        found.offered if only or typed else found.offered[:FIRST],
        () if only or typed else found.offered[FIRST:],
        found.hidden,
        planned(session, shelf, me, episode, today, tags),
    )


def _suggested(
    session: Session,
    shelf: Catalogue,
    me: Person,
    patient: Patient,
    said: Today,
    asked: Mapping[str, str],
    because: Mapping[str, Sequence[str]],
    tags: list[str],
) -> Suggestions:
    return suggest(
        shelf.activities.values(),
        asked,
        {key: told[0] for key, told in because.items() if told},
        tags,
        said,
        lately(shelf.activities, done_sets(session, patient.id)),
        favourites_of(session, me),
        may_override=may_go_against(me, patient),
    )


def _narrowed(
    found: Suggestions, only: str, typed: str, words: Mapping[str, str]
) -> Suggestions:
    def kept(offers: tuple[Offer, ...]) -> tuple[Offer, ...]:
        return tuple(
            o
            for o in offers
            if (not only or only in o.activity.answers)
            and matches(o.activity, typed, words)
        )

    return Suggestions(kept(found.offered), kept(found.hidden))


def today_from(form: Form, before: Today) -> tuple[Today, dict[str, str]]:
    """The form as said, with what is wrong beside its field. Kit that only tests need
    stays as it was said."""
    can, level = form.text("can"), form.text("help")
    people, minutes, kit = form.text("people"), form.text("minutes"), form.every("kit")
    errors = {}
    if can not in ("", *ABILITIES):
        errors["can"] = "Choose what the person can do now."
    if level not in ("", *LEVELS):
        errors["help"] = "Choose one of the levels."
    elif level and not can:
        errors["can"] = "Say what the person can do: the help is meant for that."
    if people not in ("", *map(str, PEOPLE)):
        errors["people"] = "Choose how many you are."
    if minutes not in ("", *map(str, MINUTES)):
        errors["minutes"] = "Choose one of the times."
    if not {*kit} <= {*ROOM_ITEMS}:
        errors["kit"] = "Choose from the kit that is listed."
    return replace(
        before,
        can="" if "can" in errors else can,
        help=level if level in LEVELS else "",
        people=int(people) if people and "people" not in errors else None,
        minutes=int(minutes) if minutes and "minutes" not in errors else None,
        kit=(before.kit - {*ROOM_ITEMS}) | ({*kit} & {*ROOM_ITEMS}),
    ), errors


def today_words(said: Today) -> str:
    """What was said of today in one line; empty when nothing was."""
    missing = [item for item in ROOM_ITEMS if item not in said.kit]
    parts = [
        ABILITIES.get(said.can, ""),
        f"help: {LEVELS[said.help].words}" if said.help else "",
        f"{PEOPLE[said.people]} to guard" if said.people else "",
        f"{said.minutes} min" if said.minutes else "",
        "not all kit" if missing else "",
    ]
    return ", ".join(part for part in parts if part)
