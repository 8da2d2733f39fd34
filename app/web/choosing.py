"""What was said of today when a test is chosen, and the tests in the order shown.

It is kept in memory for the day, by person and patient: a help to choose, no finding.
Several processes of a site have no memory in common, and share it by files.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from sqlmodel import Session

from app.catalogue.load import DOMAINS, Catalogue
from app.clinical.choosing import MINUTES, LastTry, Offer, Today
from app.clinical.vocabulary import ABILITIES, KIT_ITEMS
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.scores import NOT_TRIED, Score
from app.storage.trials import Round
from app.web.deps import Form, Site
from app.web.shared import tell_today, told_today


@dataclass(frozen=True, slots=True)
class Section:
    """Tests under one heading."""

    title: str
    offers: Sequence[Offer]


def said_today(site: Site, me: Person, patient: Patient, today: date) -> Today:
    """What this person said of the patient today; nothing on another day."""
    if site.shared is None:
        known = site.today.get((me.id, patient.id))
    else:
        known = told_today(site.shared, me.id, patient.id)
    return known[1] if known is not None and known[0] == today else Today()


def keep_for_today(
    site: Site, me: Person, patient: Patient, today: date, said: Today
) -> None:
    """Replace what was said; what is left of other days goes."""
    if site.shared is not None:
        tell_today(site.shared, me.id, patient.id, today, said)
        return
    for key, (day, _) in list(site.today.items()):
        if day != today:
            site.today.pop(key, None)
    site.today[me.id, patient.id] = (today, said)


def today_from(form: Form, before: Today) -> tuple[Today, dict[str, str]]:
    """The form as said, with what is wrong beside its field; `can` empty forgets it.

    What was said `before` for treatment alone stays.
    """
    can, minutes, kit = form.text("can"), form.text("minutes"), form.every("kit")
    errors = {}
    if can not in ("", *ABILITIES):
        errors["can"] = "Choose what the person can do now."
    if minutes not in ("", *map(str, MINUTES)):
        errors["minutes"] = "Choose one of the times."
    if not set(kit) <= set(KIT_ITEMS):
        errors["kit"] = "Choose from the kit that is listed."
    if not can:
        return Today(), errors
    said = replace(
        before,
        can="" if "can" in errors else can,
        kit=(before.kit - {*KIT_ITEMS}) | ({*kit} & {*KIT_ITEMS}),
        minutes=int(minutes) if minutes and "minutes" not in errors else None,
    )
    return said if said.can == before.can else replace(said, help=""), errors


def last_tries(
    session: Session, shelf: Catalogue, scores: Iterable[Score]
) -> dict[str, LastTry]:
    """The last try of each test: what was declined or not done says nothing."""
    last = {s.measure: s for s in scores if s.outcome not in NOT_TRIED}
    return {
        key: _last_try(session, shelf, score)
        for key, score in last.items()
        if key in shelf.measures
    }


def _last_try(session: Session, shelf: Catalogue, score: Score) -> LastTry:
    """Its set-up is fetched only where the end of the scale depends on it."""
    asks = shelf.measures[score.measure].ceiling_fact
    facts = session.get_one(Round, score.round_id).facts if asks else {}
    value = None if score.value is None else Decimal(score.value)
    return LastTry(score.outcome, score.on_date, value, score.variant, facts)


def sections(found: Sequence[Offer], said: Today) -> list[Section]:
    """What fits today in one list; with nothing said, what is allowed by domain."""
    fitting = [offer for offer in found if offer.fits]
    if said.can:
        return [Section("Fits today", fitting)]
    by_domain = [
        Section(name.capitalize(), [o for o in fitting if o.measure.domain == name])
        for name in DOMAINS
    ]
    return [section for section in by_domain if section.offers]
