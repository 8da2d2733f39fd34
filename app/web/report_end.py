"""What a discharge summary adds to a report: why care ended, and what stays behind."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Final

from sqlmodel import Session, col, select

from app.clinical.days import full_day
from app.clinical.dimensions import ROOMS
from app.clinical.home_sheet import CHANGES as AT_HOME
from app.clinical.home_sheet import HELPERS
from app.clinical.make_safe import ON_THE_FLOOR
from app.clinical.note import Ref
from app.clinical.picture import NO_CLEARANCE, Agreement, Done, names_of, picture_of
from app.clinical.precautions import PRECAUTIONS
from app.clinical.reading import read
from app.clinical.report import EpisodeFacts, FallFacts
from app.clinical.report_measures import of_episode
from app.clinical.room_changes import CHANGES, STATES, WHO
from app.clinical.teaching import taught_words
from app.clinical.visit_facts import Said
from app.clinical.vocabulary import FALL_QUESTIONS, PERSON_FACTS
from app.storage.episodes import Visit
from app.storage.home_sheets import HomeSheet, HomeSheetItem, items_of
from app.storage.precautions import PrecautionOnEpisode, precautions_on
from app.storage.profile import profile_of
from app.storage.room_measurements import ChangeNow, changes_of
from app.storage.safety import Stop, stops_of_episode
from app.storage.teaching import Teaching, taught_of
from app.web.deps import Site
from app.web.home_sheet_view import how_much
from app.web.report_facts import Chart, askings, care, open_chart
from app.web.room_words import measured_words
from app.web.stops import happened, stop_name

#: Questions of the profile that are about falls.
_FALLS: Final = [name for name in FALL_QUESTIONS if name.startswith("fall_")]


def discharge_facts(
    session: Session, site: Site, visit: Visit, last_report_on: date | None = None
) -> EpisodeFacts:
    """The facts of a discharge summary written at an episode's last visit."""
    chart = open_chart(session, site, visit, last_report_on, to_the_end=True)
    episode = chart.episode
    facts = EpisodeFacts(
        **care(chart),
        closed_on=episode.closed_on,
        end_reason=episode.end_reason or "",
        precautions=tuple(_precautions(chart)),
        changes=tuple(_changes(chart)),
        home=tuple(_home(chart)),
        teaching=tuple(_teaching(chart)),
        falls=_falls(chart),
    )
    agreement, rounds = _tests_on_falls(facts)
    limits = (NO_CLEARANCE,) if agreement else ()
    falls = replace(facts.falls, tests=agreement, rounds=rounds, limits=limits)
    return replace(facts, falls=falls)


def _precautions(chart: Chart) -> Iterator[Said]:
    for row in precautions_on(chart.session, chart.episode, chart.until):
        refs = (Ref("precaution", row.id),)
        yield Said(f"precaution-{row.id}", _precaution_words(row), refs)


def _precaution_words(row: PrecautionOnEpisode) -> str:
    held = PRECAUTIONS[row.tag]
    parts = [
        f"Still in force: {held.label}, since {full_day(row.set_on)}",
        f"set by: {row.set_by}" if row.set_by else "",
        f"look again {full_day(row.review_on)}" if row.review_on else "",
        row.note,
    ]
    return "; ".join(part for part in parts if part)


def _changes(chart: Chart) -> Iterator[Said]:
    for change in changes_of(chart.session, chart.book.patient.id):
        if change.row.visit_id in chart.days:
            refs = tuple(_change_refs(change))
            yield Said(f"change-{change.row.id}", _change_words(chart, change), refs)


def _change_refs(change: ChangeNow) -> Iterator[Ref]:
    yield Ref("room_change", change.row.id)
    for measured in (change.before, change.after):
        if measured is not None:
            yield Ref("room", measured.id)


def _change_words(chart: Chart, change: ChangeNow) -> str:
    """`Bathroom: raised toilet seat or frame, by: supplier: done, 3 Jun 2026; ...`."""
    row, shelf = change.row, chart.book.shelf
    words = f" ({row.words})" if row.words else ""
    since = full_day(change.since.astimezone(chart.site.zone).date())
    parts = [
        f"{ROOMS[row.room]}: {CHANGES[row.change]}{words}, by: {WHO[row.who]}: "
        f"{STATES[change.state]}, {since}",
        *(
            measured_words(m, shelf)
            for m in (change.before, change.after)
            if m is not None and m.voided_at is None
        ),
    ]
    return "; ".join(parts)


def _home(chart: Chart) -> Iterator[Said]:
    """The last home sheet: those before it were taken back for it."""
    wanted = (
        select(HomeSheet)
        .where(HomeSheet.episode_id == chart.episode.id)
        .order_by(col(HomeSheet.id).desc())
    )
    sheet = chart.session.exec(wanted.limit(1)).first()
    if sheet is not None:
        refs = (Ref("home_sheet", sheet.id),)
        yield Said(f"home_sheet-{sheet.id}", _sheet_words(chart, sheet), refs)


def _sheet_words(chart: Chart, sheet: HomeSheet) -> str:
    zone = chart.site.zone
    made = full_day(sheet.made_at.astimezone(zone).date())
    change = sheet.change_words or AT_HOME[sheet.home_change]
    parts = [
        f"Home programme of {made}, with {HELPERS[sheet.helper]} who was trained",
        *(_item_words(chart, item) for item in items_of(chart.session, sheet)),
        f"change at home: {change.rstrip('.')}",
    ]
    if sheet.ended_at is not None:
        ended = full_day(sheet.ended_at.astimezone(zone).date())
        parts.append(f"taken back {ended}")
    return "; ".join(parts)


def _item_words(chart: Chart, item: HomeSheetItem) -> str:
    """`Sit to stand, seat 17 in, 2 sets, 5 times a week ..., shown back`."""
    activity = chart.book.shelf.activities.get(item.activity)
    if activity is None:
        return f"{item.activity}, {item.sets} sets, {item.times_a_week} times a week"
    much = how_much(activity.dose.words, item.sets, item.times_a_week)
    at = activity.grade.words(Decimal(item.grade))
    back = "shown back" if item.taught_back else "not shown back"
    return f"{activity.name}, {at}, {much.rstrip('.')}, {back}"


def _teaching(chart: Chart) -> Iterator[Said]:
    """What was taught and shown back over the whole episode."""
    wanted = select(Teaching).where(
        col(Teaching.visit_id).in_(chart.days), col(Teaching.voided_at).is_(None)
    )
    for row in chart.session.exec(wanted.order_by(col(Teaching.id))):
        says = f"{full_day(chart.days[row.visit_id])}: {taught_words(taught_of(row))}"
        yield Said(f"teaching-{row.id}", says, (Ref("teaching", row.id),))


def _falls(chart: Chart) -> FallFacts:
    told = tuple(
        (one.day, one.said["fell"] == "yes", one.last)
        for one in askings(chart)
        if one.said.get("fell")
    )
    stops = stops_of_episode(chart.session, chart.episode)
    return FallFacts(
        told=told,
        known=tuple(_known(chart)),
        stops=tuple(_fall_stop(chart, stop) for stop in stops if _fell(chart, stop)),
    )


def _known(chart: Chart) -> Iterator[Said]:
    """What stands in the record of falls before, as it was entered."""
    history = chart.book.details.facts.get("fall_history")
    if history:
        words = PERSON_FACTS["fall_history"][history]
        episode = (Ref("episode", chart.episode.id),)
        yield Said("fall_history", f"as entered: {words}", episode)
    profile = profile_of(chart.session, chart.episode)
    if profile is None:
        return
    for name in _FALLS:
        label, answers = FALL_QUESTIONS[name]
        said = getattr(profile, name)
        if said:
            refs = (Ref("profile", profile.id),)
            yield Said(name, f"{label}: {answers[said]}", refs)


def _fell(chart: Chart, stop: Stop) -> bool:
    """Of this episode, and somebody came to the floor."""
    began = min(chart.days.values(), default=chart.episode.began_on)
    here = began <= stop.on_date <= chart.until
    return here and stop.answers.what in ON_THE_FLOOR


def _fall_stop(chart: Chart, stop: Stop) -> Said:
    name = stop_name(chart.book.shelf, stop, short=False)
    says = f"{full_day(stop.on_date)}, {name}: {happened(stop)}"
    refs = [Ref(stop.of, stop.row.id)]
    refs += [Ref("stop", stop.event_id)] if stop.event_id else []
    return Said(f"stop-{stop.of}-{stop.row.id}", says, tuple(refs))


def _tests_on_falls(
    facts: EpisodeFacts,
) -> tuple[Agreement | None, tuple[int, ...]]:
    """What the newest results say together of falls, as a visit's picture does."""
    rows = list(of_episode(facts))
    scores = [row.now.kept.score for row in rows]
    named = [(row.measure, dict(row.now.kept.score.facts)) for row in rows]
    persons = map(facts.person_on, (row.now.day for row in rows))
    results = map(read, (row.measure for row in rows), scores, persons)
    made = map(Done, names_of(named), (row.measure for row in rows), results)
    found = picture_of(list(made), facts.person_on(facts.until))
    about = [a for a in found.agreements if a.outcome_type == "falls"]
    if not about:
        return None, ()
    return about[0], tuple(row.now.round_id for row in rows)
