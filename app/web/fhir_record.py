"""One patient's record fetched and judged, as plain values for FHIR."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.catalogue.load import Catalogue
from app.clinical.note import NOTE_KINDS
from app.clinical.owing import Clocks
from app.clinical.precautions import PRECAUTIONS
from app.clinical.visiting import KINDS, NOT_DONE
from app.clinical.vocabulary import CONDITIONS, EPISODE_ENDS, SETTINGS, SIDES
from app.exports.fhir_values import (
    ConditionValue,
    EpisodeValue,
    LeftOut,
    PatientValue,
    PrecautionValue,
    Record,
    TextValue,
    VisitValue,
)
from app.settings import Settings
from app.storage.episodes import Episode, Visit, episodes_of
from app.storage.notes import addenda_of
from app.storage.patients import Patient, details_of
from app.storage.people import Person
from app.storage.precautions import PrecautionOnEpisode
from app.storage.review import (
    PRESENCE,
    ReviewDecision,
    VisitText,
)
from app.storage.visits import counted_minutes, pauses_of
from app.version import VERSION
from app.web.fhir_gathering import Gathering, episode_key, visit_key, visits_in_order
from app.web.fhir_goals import goals
from app.web.fhir_release import is_co_signed, is_signed, release_of
from app.web.fhir_rounds import cuff_readings, rounds_left_out, scores
from app.web.fhir_seen import sets, tasks, vitals


@dataclass(frozen=True, slots=True, kw_only=True)
class Teller:
    """What of the site decides what is told: its zone, clocks and identifiers."""

    shelf: Catalogue
    zone: ZoneInfo
    clocks: Clocks
    full_names: bool
    version: str


def teller_of(settings: Settings, shelf: Catalogue) -> Teller:
    return Teller(
        shelf=shelf,
        zone=settings.zone,
        clocks=settings.clocks,
        full_names=settings.identifiers == "full",
        version=VERSION,
    )


def record_of(
    session: Session, patient: Patient, teller: Teller, now: datetime
) -> Record:
    """Everything of a patient that may go out, as of `now`."""
    visits = visits_in_order(session, patient.id)
    episodes = {e.id: e for e in reversed(episodes_of(session, patient))}
    g = Gathering(
        session, teller.shelf, patient, details_of(session, patient), teller.zone,
        episodes, {visit.id: visit for visit in visits}, release_of(session, visits),
    )  # fmt: skip
    made = scores(g)
    of_cuff, pulses = cuff_readings(g, made)
    pressures, numbers = vitals(g)
    told_tasks = tuple(tasks(g))  # before the goals, which begin at some of them
    standard = frozenset(score.key for score in made if score.standard)
    told_goals = tuple(goals(g, teller.clocks, rounds_left_out(g), standard))
    record = Record(
        patient=_patient(g, full_names=teller.full_names),
        people=(),
        conditions=tuple(_conditions(g)),
        episodes=tuple(_episode(g, episode) for episode in g.episodes.values()),
        precautions=tuple(_precautions(g)),
        visits=tuple(_visits(g, now)),
        scores=tuple(made),
        pressures=(*of_cuff, *pressures),
        vitals=(*pulses, *numbers),
        tasks=told_tasks,
        sets=tuple(sets(g)),
        goals=told_goals,
        texts=tuple(_texts(g)),
        left_out=LeftOut(),
        demo=patient.is_demo,
        version=teller.version,
        edition=teller.shelf.edition,
        made_at=now.astimezone(teller.zone),
    )
    # Whoever is named, and what stays behind, is known once all was gone through.
    return replace(record, people=tuple(g.people.values()), left_out=_left_out(g))


def _left_out(g: Gathering) -> LeftOut:
    unsigned = {what: n for what, n in g.release.left_out.items() if n}
    return LeftOut(unsigned, g.unfinished, g.voided)


def _patient(g: Gathering, *, full_names: bool) -> PatientValue:
    details = g.details
    born = details.birth_date or details.birth_year
    return PatientValue(
        key=f"patient {g.patient.uid}",
        label=details.label,
        sex=details.sex or "",
        born=str(born or ""),
        name=details.full_name if full_names else "",
        number=details.record_number if full_names else "",
    )


def _conditions(g: Gathering) -> Iterator[ConditionValue]:
    for name, onset in g.details.conditions.items():
        side = g.details.sides.get(name, "")
        level = g.details.facts.get("amputation_level", "")
        yield ConditionValue(
            key=f"condition {g.patient.uid} {name}",
            condition=name,
            words=CONDITIONS[name],
            since=str(onset or ""),
            side=side,
            side_words=SIDES.get(side, ""),
            level=level if name == "amputation" else "",
        )


def _episode(g: Gathering, episode: Episode) -> EpisodeValue:
    began = episode.began_on
    if episode.closed_on is not None:
        began = min(began, episode.closed_on)  # a period never ends before its start
    return EpisodeValue(
        key=episode_key(g.patient, episode),
        reason=episode.reason,
        setting=episode.setting,
        plan=episode.plan,
        began=began,
        ended=episode.closed_on,
        why=EPISODE_ENDS.get(episode.end_reason or "", ""),
        plan_on=None if episode.closed_on else episode.plan_on,
    )


def _precautions(g: Gathering) -> Iterator[PrecautionValue]:
    """Whoever entered them: one that is missing could hurt."""
    wanted = (
        select(PrecautionOnEpisode)
        .where(col(PrecautionOnEpisode.episode_id).in_(list(g.episodes)))
        .order_by(col(PrecautionOnEpisode.set_on), col(PrecautionOnEpisode.id))
    )
    for row in g.session.exec(wanted):
        what = PRECAUTIONS[row.tag]
        yield PrecautionValue(
            key=f"precaution {g.patient.uid} {row.id}",
            episode=episode_key(g.patient, g.episodes[row.episode_id]),
            tag=row.tag,
            label=what.label,
            kind=what.kind,
            meaning=what.meaning,
            since=row.set_on,
            until=row.ended_on,
            note=row.note,
            set_by=row.set_by,
        )


def _visits(g: Gathering, now: datetime) -> Iterator[VisitValue]:
    for visit in g.visits.values():
        if g.may_go("visits", visit.id, visit.person_id, visit.started_at):
            yield _visit(g, visit, now)


def _visit(g: Gathering, visit: Visit, now: datetime) -> VisitValue:
    episode, zone = g.episodes[visit.episode_id], ZoneInfo(visit.zone)
    told = f"Told: {visit.missed_told}." if visit.missed_told else ""
    again = f"To be tried again: {visit.missed_again}." if visit.missed_again else ""
    return VisitValue(
        key=visit_key(visit),
        episode=episode_key(g.patient, episode),
        person=g.person(visit.person_id),
        kind=visit.kind,
        kind_words=f"{KINDS[visit.kind].capitalize()} visit",
        setting=episode.setting,
        setting_words=SETTINGS[episode.setting],
        state=_state(visit, now),
        day=visit.local_date,
        start=visit.started_at.astimezone(zone),
        end=visit.closed_at.astimezone(zone) if visit.closed_at else None,
        minutes=_minutes(g, visit, now),
        why=visit.missed_reason or "",
        why_words=NOT_DONE.get(visit.missed_reason or "", ""),
        follow_up=tuple(filter(None, (told, again))),
    )


def _state(visit: Visit, now: datetime) -> str:
    if visit.kind == "missed":
        return "missed"
    if visit.closed_at is not None:
        return "closed"
    today = now.astimezone(ZoneInfo(visit.zone)).date()
    return "open" if visit.local_date == today else "left"


def _minutes(g: Gathering, visit: Visit, now: datetime) -> int:
    """How long it lasted without its pauses; 0 while that is not known."""
    if visit.closed_at is None or visit.kind == "missed":
        return 0
    total, away = counted_minutes(visit, pauses_of(g.session, visit), now)
    return total - away


def _texts(g: Gathering) -> Iterator[TextValue]:
    """What was signed, and what of a student's was co-signed."""
    for visit in g.visits.values():
        for text, made in g.release.texts.get(visit.id, ()):
            if is_co_signed(made) or is_signed(text, made):
                yield _text(g, visit, text, made if is_co_signed(made) else None)
            else:
                g.release.left_out["texts"] += 1


def _text(
    g: Gathering, visit: Visit, text: VisitText, made: ReviewDecision | None
) -> TextValue:
    zone = ZoneInfo(visit.zone)
    return TextValue(
        key=f"text {visit.uid} {text.id}",
        visit=visit_key(visit),
        author=g.person(text.author_id),
        at=text.written_at.astimezone(zone),
        title=f"{NOTE_KINDS[text.note or 'visit'].capitalize()}, {visit.local_date}",
        text="\n".join(filter(None, (*text.lines, text.own_words, *_added(g, text)))),
        signer=g.person(made.person_id) if made else "",
        signed_at=made.decided_at.astimezone(zone) if made else None,
        statement=_statement(g, made) if made else "",
    )


def _added(g: Gathering, text: VisitText) -> Iterator[str]:
    """Its addenda; nobody answers for a student's."""
    for added in addenda_of(g.session, text):
        if added.author_id in g.release.students:
            g.release.left_out["addenda"] += 1
            continue
        name = g.session.get_one(Person, added.author_id).name
        on = added.written_at.astimezone(g.zone)
        yield f"Added {on:%Y-%m-%d, %H:%M} by {name} ({added.reason}): {added.words}"


def _statement(g: Gathering, made: ReviewDecision) -> str:
    """The co-signer's own words, and how they were there."""
    name = g.session.get_one(Person, made.person_id).name
    there = PRESENCE.get(made.presence or "", "")
    minutes = f", {made.minutes} minutes" if made.minutes is not None else ""
    return f"Co-signed by {name} ({there}{minutes}): {made.statement}"
