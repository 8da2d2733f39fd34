"""What a hand-off is made from, fetched from a visit's events and the record."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.catalogue.load import Catalogue
from app.clinical.assistance import CUE_KINDS
from app.clinical.goals import one_line
from app.clinical.hand_off_facts import (
    Fact,
    HandOffFacts,
    InForce,
    Move,
    in_order_of_need,
    spoken_task,
)
from app.clinical.make_safe import SYMPTOMS
from app.clinical.note import Ref
from app.clinical.precautions import PRECAUTIONS
from app.clinical.quantities import words as with_unit
from app.clinical.teaching import taught_words
from app.clinical.visiting import DEVICES, EXIT_LIST, LIMITED, outside, postural
from app.clinical.vocabulary import ABILITIES
from app.storage.activity_sets import ActivitySet, sets_in, symptoms_of
from app.storage.episodes import Episode, Visit
from app.storage.goals import body_of
from app.storage.home_sheets import current_sheet, items_of
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    VitalSigns,
    limits_of,
    merged,
    recorded,
)
from app.storage.patients import Patient
from app.storage.precautions import precautions_on
from app.storage.safety import stops_of_visit
from app.storage.scores import Score
from app.storage.teaching import Teaching, taught_of, teaching_in
from app.storage.trials import Round, Trial
from app.storage.visits import exit_rows
from app.web.dates import day_words
from app.web.deps import Site
from app.web.goal_book import goal_of, open_book
from app.web.home_sheet_view import reasons
from app.web.room_words import room_events
from app.web.set_words import last_time_words
from app.web.stops import happened, stop_name, stop_sort
from app.web.visit_events import exit_words, symptom_words

#: Being on one's feet, with or without help.
_UP: Final = list(ABILITIES)[list(ABILITIES).index("stands_held") :]
_UP_TASKS: Final = (
    "transfer_bed", "transfer_chair", "transfer_toilet", "transfer_tub",
    "transfer_car", "walk_bathroom", "stairs",
)  # fmt: skip
_AT_HOME: Final = ("family", "home_helper")
#: Answers to the first questions that are nothing to hand on.
_NO_SYMPTOM: Final = ("agreed", "not dizzy", "no fall", "pain 0 of 10", "slept well")


def hand_off_facts(
    session: Session, site: Site, visit: Visit, to: str, now: datetime
) -> HandOffFacts:
    """Everything that one audience's card may hold; orders are those of today."""
    shelf, today = site.catalogue, now.astimezone(site.zone).date()
    episode = session.get_one(Episode, visit.episode_id)
    tasks = [t for t in recorded(session, visit, TaskObservation) if not t.voided_at]
    sets = [s for s in sets_in(session, visit) if not s.voided_at]
    taught = [t for t in teaching_in(session, visit) if not t.voided_at]
    in_force = _in_force(session, episode, today)
    return HandOffFacts(
        reason=episode.reason,
        moves=_moves(tasks),
        in_force=in_force,
        stops=tuple(_stops(session, shelf, visit)),
        outside=tuple(_outside(session, episode, visit)),
        symptoms=_symptoms(session, visit),
        felt=tuple(_felt(session, shelf, sets)),
        left=_left(session, visit),
        last_up=_last_up(session, shelf, visit, tasks, sets, site.zone),
        scores=tuple(_scores(session, shelf, visit)),
        doses=tuple(_doses(shelf, visit, sets)),
        cues=tuple(_cues(shelf, tasks, sets)),
        goals=tuple(_goals(session, site, episode)) if to == "therapist" else (),
        rooms=tuple(Fact(f"{said}.") for _, said, _ in room_events(
            session, shelf, visit
        ) if "(void:" not in said),
        sheet=_sheet(session, shelf, episode, today),
        shown_back=tuple(_shown_back(taught, to)),
        help_words=_help_words(taught),
    )  # fmt: skip


def _moves(tasks: Sequence[TaskObservation]) -> tuple[Move, ...]:
    """Each task as it was recorded last."""
    last = {row.task: row for row in tasks}
    return in_order_of_need([_move(row) for row in last.values()])


def _move(row: TaskObservation) -> Move:
    not_done = row.not_done or ""
    return Move(row.task, row.level, row.helpers, _device(row), not_done, row.id)


def _device(row: TaskObservation) -> str:
    if row.device_kind in (None, "none", "other"):
        return row.device
    return row.device or DEVICES[row.device_kind or ""]


def _in_force(session: Session, episode: Episode, today: date) -> tuple[InForce, ...]:
    found = []
    for row in precautions_on(session, episode, today):
        known = PRECAUTIONS[row.tag]
        is_order = known.kind == "order"
        until = "until it is lifted"
        if row.review_on is not None:
            late = row.review_on < today
            until = f"{'review was due' if late else 'review'} "
            until += day_words(row.review_on, today)
        found.append(
            InForce(known.label, known.meaning, is_order, until, row.id, row.tag)
        )
    return tuple(found)


def _stops(session: Session, shelf: Catalogue, visit: Visit) -> Iterator[Fact]:
    """`Stopped for safety: Timed Up and Go: seated, dizzy; called: nurse`."""
    for stop in stops_of_visit(session, visit):
        if stop.row.voided_at is not None:
            continue
        sort = stop_sort(stop)
        parts = [f"{sort[0].upper()}{sort[1:]}", stop_name(shelf, stop, short=False)]
        parts += [happened(stop)] if happened(stop) else []
        called = f"; called: {stop.answers.called}" if stop.answers.called else ""
        ref = Ref(stop.of, stop.row.id)
        yield Fact(f"{': '.join(parts)}{called}.", ref)


def _outside(session: Session, episode: Episode, visit: Visit) -> Iterator[Fact]:
    """The last time each vital sign lay outside its order, and a fall in pressure."""
    found: dict[str, Fact] = {}
    lying: tuple[str, tuple[int, int]] | None = None
    for row in recorded(session, visit, VitalSigns):
        given = {n: getattr(row, n) for n in LIMITED if getattr(row, n) is not None}
        limits = limits_of(session, episode, row.recorded_at)
        ref = Ref("vitals", row.id)
        for name, says in outside(given, limits).items():
            found[name] = Fact(says, ref)
        if row.systolic is None or row.diastolic is None:
            continue
        pressure = (row.systolic, row.diastolic)
        if lying and row.position.startswith("standing"):
            drop = postural(lying[0], lying[1], pressure)
            if drop:
                found["postural"] = Fact(f"{drop.partition('. ')[0]}.", ref)
        if row.position == "lying" or (row.position == "sitting" and not lying):
            lying = (row.position, pressure)
    yield from found.values()


def _symptoms(session: Session, visit: Visit) -> Fact | None:
    rows = recorded(session, visit, SymptomCheck)
    if not rows:
        return None
    said = merged(rows)
    said.pop("words", None)
    told = [words for words in symptom_words(said) if words not in _NO_SYMPTOM]
    if not told:
        return None
    return Fact(f"They said: {', '.join(told)}.", Ref("symptoms", rows[-1].id))


def _felt(
    session: Session, shelf: Catalogue, sets: Sequence[ActivitySet]
) -> Iterator[Fact]:
    """What came on in each activity; a stop says its own symptoms."""
    came = symptoms_of(session, [row for row in sets if row.outcome != "stopped"])
    for name in dict.fromkeys(row.activity for row in sets):
        rows = [row for row in sets if row.activity == name and row.id in came]
        told = {key for row in rows for key in came[row.id]}
        if told:
            activity = shelf.activities.get(name)
            words = ", ".join(SYMPTOMS[key] for key in SYMPTOMS if key in told)
            says = f"During {activity.name if activity else name}: {words}."
            yield Fact(says, Ref("set", rows[-1].id))


def _left(session: Session, visit: Visit) -> Fact | None:
    """What the exit list says was left in place; the hand-off itself is none of it."""
    order = list(EXIT_LIST)
    rows = sorted(exit_rows(session, visit), key=lambda row: order.index(row.item))
    said = [
        exit_words(row)
        for row in rows
        if row.item != "hand_off" and row.state == "done"
    ]
    return Fact(f"Left: {', '.join(said)}.") if said else None


def _last_up(
    session: Session,
    shelf: Catalogue,
    visit: Visit,
    tasks: Sequence[TaskObservation],
    sets: Sequence[ActivitySet],
    zone: ZoneInfo,
) -> Fact | None:
    """The latest thing that was done on their feet, and when."""
    found = [
        (row.recorded_at, spoken_task(row.task), Ref("task", row.id))
        for row in tasks
        if row.level and row.task in _UP_TASKS
    ]
    for done in sets:
        activity = shelf.activities.get(done.activity)
        if activity and activity.least in _UP and done.outcome in ("done", "stopped"):
            found.append((done.done_at, activity.name, Ref("set", done.id)))
    for trial, round in _trials(session, visit):
        measure = shelf.measures.get(round.measure)
        if measure and measure.needs in _UP:
            at = trial.recorded_at
            found.append((at, measure.name, Ref("trial", trial.id)))
    if not found:
        return None
    at, what, ref = max(found, key=lambda one: one[0])
    return Fact(f"Last up at {at.astimezone(zone):%H:%M}: {what}.", ref)


def _trials(session: Session, visit: Visit) -> Sequence[tuple[Trial, Round]]:
    wanted = (
        select(Trial, Round)
        .join(Round, col(Round.id) == col(Trial.round_id))
        .where(
            Round.visit_id == visit.id,
            col(Trial.voided_at).is_(None),
            Trial.outcome == "completed",
        )
    )
    return session.exec(wanted).all()


def _scores(session: Session, shelf: Catalogue, visit: Visit) -> Iterator[Fact]:
    """Today's number, how it was done, what changed, and the first one done alike."""
    for score, round in _scored(session, visit):
        measure = shelf.measures.get(score.measure)
        if measure is None or score.value is None:
            continue
        fact = next((f for f in measure.facts if f.key == "device"), None)
        device = round.facts.get("device", "")
        used = fact.options.get(device, "") if fact and device != "none" else ""
        parts = [f"{measure.name} {with_unit(Decimal(score.value), score.unit)}"]
        parts += [part for part in (used, score.change_verdict or "") if part]
        first = _first_alike(session, score, round)
        yield Fact(f"{', '.join(parts)}{first}.", Ref("round", round.id))


def _scored(session: Session, visit: Visit) -> Sequence[tuple[Score, Round]]:
    wanted = (
        select(Score, Round)
        .join(Round, col(Round.id) == col(Score.round_id))
        .where(Round.visit_id == visit.id)
    )
    return session.exec(wanted.order_by(col(Round.id))).all()


def _first_alike(session: Session, score: Score, round: Round) -> str:
    """The first score of this stretch of care under the very same set-up."""
    wanted = (
        select(Score, Round)
        .join(Round, col(Round.id) == col(Score.round_id))
        .join(Visit, col(Visit.id) == col(Round.visit_id))
        .where(
            Score.patient_id == score.patient_id,
            Score.measure == score.measure,
            Score.unit == score.unit,
            Score.on_date < score.on_date,
            Visit.episode_id
            == select(Visit.episode_id)
            .where(Visit.id == round.visit_id)
            .scalar_subquery(),
        )
        .order_by(col(Score.on_date), col(Score.id))
    )
    for before, then in session.exec(wanted):
        same = (then.facts, then.variant) == (round.facts, round.variant)
        if same and before.value is not None:
            value = with_unit(Decimal(before.value), before.unit)
            return f"; {value} on {day_words(before.on_date, score.on_date)}"
    return ""


def _doses(
    shelf: Catalogue, visit: Visit, sets: Sequence[ActivitySet]
) -> Iterator[Fact]:
    by_activity: dict[str, list[ActivitySet]] = {}
    for row in sets:
        if row.outcome in ("done", "stopped"):
            by_activity.setdefault(row.activity, []).append(row)
    on = visit.local_date
    for key, rows in by_activity.items():
        activity = shelf.activities.get(key)
        if activity is not None:
            said = last_time_words(rows, activity, on, on)
            said = said.removesuffix(f", {day_words(on, on)}")
            yield Fact(f"{activity.name}: {said}.", Ref("set", rows[-1].id))


def _cues(
    shelf: Catalogue, tasks: Sequence[TaskObservation], sets: Sequence[ActivitySet]
) -> Iterator[Fact]:
    """What each kind of cue went with; of sets only those without an error."""
    told: dict[str, dict[str, Ref]] = {}
    for row in tasks:
        if row.cue_kind and row.level:
            task = spoken_task(row.task)
            told.setdefault(row.cue_kind, {})[task] = Ref("task", row.id)
    for done in sets:
        activity = shelf.activities.get(done.activity)
        if done.cue_kind and done.errors == 0 and done.outcome == "done" and activity:
            said = f"{activity.name}, without error"
            told.setdefault(done.cue_kind, {})[said] = Ref("set", done.id)
    for kind, found in told.items():
        says = f"Cues {CUE_KINDS[kind]}: {'; '.join(found)}."
        yield Fact(says, [*found.values()][-1])


def _goals(session: Session, site: Site, episode: Episode) -> Iterator[Fact]:
    patient = session.get_one(Patient, episode.patient_id)
    book = open_book(
        session, site.catalogue, site.settings.clocks, site.zone, patient, episode
    )
    for row in book.goals:
        if row.closed_on is None:
            body = body_of(row)
            says = f"Goal {row.number}: {one_line(goal_of(body), book.measure(body))}."
            yield Fact(f"{says} {book.progress(row).says}", Ref("goal", row.id))


def _sheet(
    session: Session, shelf: Catalogue, episode: Episode, today: date
) -> tuple[str, ...]:
    """What is on the sheet at home, unless an order now says that it must come back."""
    sheet = current_sheet(session, episode.patient_id)
    if sheet is None:
        return ()
    items = items_of(session, sheet)
    tags = {p.tag for p in precautions_on(session, episode, today)}
    if reasons(shelf.activities, items, tags):
        return ()
    homes = [shelf.activities[item.activity].home for item in items]
    return tuple(home.name for home in homes if home)


def _shown_back(taught: Sequence[Teaching], to: str) -> Iterator[Fact]:
    """What this audience was taught, and whether they showed it back."""
    roles = {
        "family": (*_AT_HOME, "patient"),
        "nursing": ("nurse", "aide"),
    }.get(to, ())
    for row in taught:
        if row.to_role in roles:
            yield Fact(f"{taught_words(taught_of(row))}.", Ref("teaching", row.id))


def _help_words(taught: Sequence[Teaching]) -> Fact | None:
    """The words that were practised with who helps at home, the latest."""
    said = [
        row
        for row in taught
        # Of another topic the words say what was taught, not what to say.
        if row.words and row.topic != "other" and row.to_role in _AT_HOME
    ]
    if not said:
        return None
    return Fact(f"Say: “{said[-1].words}”.", Ref("teaching", said[-1].id))
