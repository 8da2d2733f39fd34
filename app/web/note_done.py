"""What was seen, done and left in a visit, as facts of its note."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import groupby

from app.clinical.home_sheet import CHANGES, HELPERS
from app.clinical.note import Ref
from app.clinical.note_words import moment, sentence, spelled
from app.clinical.teaching import taught_words
from app.clinical.visit_facts import Said
from app.clinical.visiting import (
    EXIT_LIST,
    HAND_OFF_TO,
    MINUTES,
    NOT_DONE,
    OUTSIDE,
    PAUSES,
    STRIP_SAID,
    TASKS,
    TELL,
    VITALS,
    Limit,
)
from app.storage.activity_sets import ActivitySet, symptoms_of
from app.storage.hand_offs import hand_offs_in
from app.storage.home_sheets import HomeSheet, items_of, sheets_made
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    limits_of,
    merged,
    recorded,
)
from app.storage.room_measurements import changes_in, measures_in
from app.storage.safety import Stop, stops_of_visit
from app.storage.services import given_in, minutes_on, same_day
from app.storage.teaching import taught_of, teaching_in
from app.storage.visits import counted_minutes, exit_rows, pauses_of
from app.web.note_scene import Scene
from app.web.room_words import change_words, measured_words
from app.web.set_words import done_words
from app.web.stops import happened, stop_name, vitals_after
from app.web.visit_events import (
    ON_WHAT,
    exit_words,
    symptom_words,
    task_words,
    vital_events,
)
from app.web.visit_services import day_count
from app.web.visit_stops import stop_says

#: What is said at the bedside, and not of the person.
_ADVICE = (OUTSIDE, ON_WHAT)


def symptoms_said(scene: Scene) -> Iterator[Said]:
    """Each asking in its last words, however many taps it took."""
    rows = recorded(scene.session, scene.visit, SymptomCheck)
    for _, taps in groupby(rows, lambda row: row.asking or row.uid):
        asked = list(taps)
        says = ", ".join(symptom_words(merged(asked)))
        refs = tuple(Ref("symptoms", row.id) for row in asked)
        if says:
            yield Said(f"symptoms:{asked[0].id}", f"Symptom check: {says}", refs)


def vitals_said(scene: Scene) -> Iterator[Said]:
    """Each set with its position, and what of it lies outside an order."""
    refs = []
    for event in vital_events(scene.session, scene.visit):
        refs.append(Ref("vitals", event.id))
        mind = [said.removesuffix(TELL) for said in event.mind if said not in _ADVICE]
        where, _, numbers = event.says.partition(": ")
        says = f"Vital signs, {where[:1].lower()}{where[1:]}: {numbers}"
        told = " ".join(sentence(part) for part in (says, *mind))
        yield Said(f"vitals:{event.id}", spelled(told), (refs[-1],))
    if refs and (says := limits_words(scene)):
        yield Said("limits", says, (Ref("episode", scene.episode.id),))


def limits_words(scene: Scene) -> str:
    """`Limits by order: heart rate 50 to 110 per minute`, as they held at the end."""
    at = scene.visit.closed_at
    limits = limits_of(scene.session, scene.episode, at)
    said = [f"{VITALS[k].label.lower()} {_limit(k, v)}" for k, v in limits.items()
            if v != Limit(None, None)]  # fmt: skip
    return spelled(f"Limits by order: {'; '.join(said)}") if said else ""


def _limit(name: str, limit: Limit) -> str:
    unit = VITALS[name].unit
    if limit.low is None:
        return f"at most {limit.high} {unit}"
    if limit.high is None:
        return f"at least {limit.low} {unit}"
    return f"{limit.low} to {limit.high} {unit}"


def tasks_said(
    tasks: Sequence[TaskObservation], codes: dict[int, str]
) -> tuple[list[Said], list[Said], list[Said]]:
    """Tasks that were done, that were not, and that were taken back."""
    done: list[Said] = []
    not_done: list[Said] = []
    void: list[Said] = []
    for row in tasks:
        refs = (Ref("task", row.id),)
        if row.voided_at is not None:
            says = f"{TASKS[row.task].capitalize()}, taken back: {row.void_reason}"
            void.append(Said(f"task:{row.id}", says, refs))
        else:
            said = Said(f"task:{row.id}", task_words(row, codes.get(row.id)), refs)
            (not_done if row.not_done else done).append(said)
    return done, not_done, void


def sets_said(
    scene: Scene, sets: Sequence[ActivitySet]
) -> tuple[list[Said], list[Said], list[Said]]:
    """The sets of each activity in one line; those not done; those taken back."""
    symptoms = symptoms_of(scene.session, sets)
    done: list[Said] = []
    not_done: list[Said] = []
    void: list[Said] = []
    by_activity: dict[str, list[ActivitySet]] = {}
    for row in sorted(sets, key=lambda row: (row.done_at, row.id)):
        refs, name = (Ref("set", row.id),), activity_name(scene, row.activity)
        if row.voided_at is not None:
            says = f"{name}, a set taken back: {row.void_reason}"
            void.append(Said(f"set:{row.id}", says, refs))
        elif row.outcome == "not_done" or row.outcome == "declined":
            says = f"{name}: {_set(scene, row, symptoms)}"
            not_done.append(Said(f"set:{row.id}", says, refs))
        else:
            by_activity.setdefault(row.activity, []).append(row)
    for key, rows in by_activity.items():
        told = [_set(scene, row, symptoms) for row in rows]
        these = tuple(Ref("set", row.id) for row in rows)
        says = f"{activity_name(scene, key)}: {_sets(told)}"
        done.append(Said(f"set:{rows[0].id}", says, these))
    return done, not_done, void


def activity_name(scene: Scene, key: str) -> str:
    activity = scene.shelf.activities.get(key)
    return activity.name if activity else key


def _set(
    scene: Scene, row: ActivitySet, symptoms: dict[int, tuple[str, ...]]
) -> str:  # fmt: skip
    activity = scene.shelf.activities.get(row.activity)
    return done_words(row, activity, symptoms.get(row.id, ()))


def _sets(told: Sequence[str]) -> str:
    """`10 repetitions, ...`, `3 sets, each: ...`, or by number, alike ones together."""
    if len(told) == 1:
        return told[0]
    alike: dict[str, list[str]] = {}
    for number, said in enumerate(told, 1):
        alike.setdefault(said, []).append(str(number))
    if len(alike) == 1:
        return f"{len(told)} sets, each: {told[0]}"
    return "; ".join(f"{_numbers(n)}: {said}" for said, n in alike.items())


def _numbers(numbers: Sequence[str]) -> str:
    """`set 1`, `sets 1, 2 and 4`."""
    if len(numbers) == 1:
        return f"set {numbers[0]}"
    return f"sets {', '.join(numbers[:-1])} and {numbers[-1]}"


def stops_said(scene: Scene) -> Iterator[Said]:
    """Each stop for safety, and each set against an order, with what followed."""
    for stop in stops_of_visit(scene.session, scene.visit):
        name = stop_name(scene.shelf, stop, short=False)
        at = moment(stop.at.astimezone(scene.site.zone))
        first = f"{at}: {stop_says(stop, name)}"
        after = _after(scene, stop)
        says = " ".join(sentence(part) for part in (first, after) if part)
        refs = [Ref(stop.of, stop.row.id)]
        refs += [Ref("stop", stop.event_id)] if stop.event_id else []
        yield Said(f"stop:{stop.of}:{stop.row.id}", spelled(says), tuple(refs))


def _after(scene: Scene, stop: Stop) -> str:
    """What was noted after it; that nothing was, of a stop."""
    said = stop.answers
    called = f"called: {said.called}" if said.called else ""
    if said.called_at is not None:
        at = said.called_at.astimezone(scene.site.zone)
        called = f"{called or 'called'} at {at:%H:%M}"
    note = f"“{said.note}”" if said.note else ""
    parts = (happened(stop), vitals_after(said), called, note)
    told = "; ".join(part for part in parts if part)
    if told:
        return f"Then: {told}"
    return "What followed was not noted" if stop.is_unanswered else ""


def rooms_said(scene: Scene) -> Iterator[Said]:
    """What was measured, and what is to be changed; what was taken back stays out."""
    for row in measures_in(scene.session, scene.visit):
        if row.voided_at is None:
            says = measured_words(row, scene.shelf)
            yield Said(f"room:{row.id}", says, (Ref("room", row.id),))
    for now in changes_in(scene.session, scene.visit):
        says = change_words(now.row)
        yield Said(f"room:change:{now.row.id}", says, (Ref("room_change", now.row.id),))


def teaching_said(scene: Scene) -> Iterator[Said]:
    """What was taught, and home sheets of the day: each activity was shown back."""
    for row in teaching_in(scene.session, scene.visit):
        if row.voided_at is None:
            says = taught_words(taught_of(row))
            yield Said(f"teaching:{row.id}", says, (Ref("teaching", row.id),))
    for sheet in sheets_made(scene.session, scene.episode.id, scene.person.id):
        made = sheet.made_at.astimezone(scene.site.zone).date()
        if made == scene.visit.local_date:
            refs = (Ref("home_sheet", sheet.id),)
            yield Said(f"home_sheet:{sheet.id}", _sheet(scene, sheet), refs)


def _sheet(scene: Scene, sheet: HomeSheet) -> str:
    told = []
    for item in items_of(scene.session, sheet):
        activity = scene.shelf.activities.get(item.activity)
        at = f", {activity.grade.words(Decimal(item.grade))}" if activity else ""
        sets = f"{item.sets} set{'s' * (item.sets != 1)}"
        week = f"{item.times_a_week} time{'s' * (item.times_a_week != 1)} a week"
        name = activity_name(scene, item.activity)
        told.append(f"{name} ({sets}, {week}{at})")
    other = sheet.home_change == "other"
    change = sheet.change_words if other else CHANGES[sheet.home_change]
    whom = HELPERS[sheet.helper]
    first = f"Taught to {whom}, who showed each back: {'; '.join(told)}"
    parts = (first, f"Home sheet handed over; change at home: {change}")
    return " ".join(sentence(part) for part in parts)


def exits_said(scene: Scene) -> tuple[list[Said], list[Said]]:
    """How the room was left, and who took the hand-off."""
    visit, refs = scene.visit, (Ref("exit", scene.visit.id),)
    order = list(EXIT_LIST)
    rows = sorted(exit_rows(scene.session, visit), key=lambda r: order.index(r.item))
    told = [r for r in rows if r.told_role]
    rest = [r for r in rows if not r.told_role]
    done = [exit_words(r) for r in rest if r.state == "done" or r.strip_state]
    none = [EXIT_LIST[r.item] for r in rest if r.state != "done" and not r.strip_state]
    parts = [f"On leaving: {'; '.join(done)}"] if done else []
    parts += [f"Not applicable: {', '.join(none)}"] if none else []
    if visit.strip_left_at:
        parts.append(STRIP_SAID["retrieved"])
    if visit.left_without:
        parts.append(f"Left without the list: {visit.left_without}")
    says = " ".join(sentence(part) for part in parts)
    left = [Said(f"exit:{visit.id}", says, refs)] if says else []
    given = list(_handed_off(scene))
    known = {row.given_to for row in hand_offs_in(scene.session, visit)}
    given += [Said("hand_off", f"Hand-off to: {HAND_OFF_TO[r.told_role or '']}", refs)
              for r in told if r.told_role not in known]  # fmt: skip
    return left, given


def _handed_off(scene: Scene) -> Iterator[Said]:
    """Each card that was read to somebody; its words stand on the visit."""
    for row in hand_offs_in(scene.session, scene.visit):
        back = "read back" if row.read_back else "not read back"
        says = f"Hand-off to: {HAND_OFF_TO[row.given_to]}, {back}"
        yield Said(f"hand_off:{row.id}", says, (Ref("hand_off", row.id),))


def minutes_said(scene: Scene) -> Iterator[Said]:
    """Minutes by service, of the whole day, by kind and by the clock, as recorded."""
    visit, refs = scene.visit, (Ref("minutes", scene.visit.id),)
    given = given_in(scene.session, visit)
    if given:
        timed = sum(row.minutes for service, row in given if service.timed)
        total = sum(row.minutes for _, row in given)
        each = ", ".join(f"{service.name} {row.minutes} min" for service, row in given)
        says = f"Treatment in all {total} min, timed {timed} min, untimed "
        says = f"{says}{total - timed} min: {each}"
        yield Said("minutes:services", says, refs)
        yield from _of_day(scene, total)
    kinds = {words: getattr(visit, f"{key}_minutes") for key, words in MINUTES.items()}
    spent = [f"{words} {minutes} min" for words, minutes in kinds.items() if minutes]
    if spent:
        yield Said("minutes:kinds", f"By kind: {', '.join(spent)}", refs)
    yield from _by_clock(scene)


def _of_day(scene: Scene, here: int) -> Iterator[Said]:
    """The day's totals where another visit of it gave services too."""
    day = same_day(scene.session, scene.visit)
    if sum(minutes_on(scene.session, day).values()) == here:
        return
    rule = scene.site.settings.units_rule
    counted = day_count(scene.session, scene.person, scene.visit, rule)
    says = f"All visits of this day: treatment in all {counted.treatment} min, timed "
    refs = tuple(Ref("minutes", key) for key in day)
    yield Said("minutes:day", f"{says}{counted.timed} min", refs)


def _by_clock(scene: Scene) -> Iterator[Said]:
    """Only of a visit that was closed, since an open one goes on."""
    visit = scene.visit
    if visit.closed_at is None:
        return
    pauses = pauses_of(scene.session, visit)
    total, away = counted_minutes(visit, pauses, visit.closed_at)
    if not total:
        return
    says = f"By the clock {total - away} min"
    if away:
        why = dict.fromkeys(PAUSES[pause.reason] for pause in pauses)
        says += f"; paused {away} min, not billable: {', '.join(why)}"
    refs = (Ref("minutes", visit.id), *(Ref("pause", p.id) for p in pauses))
    yield Said("minutes:clock", says, refs)


def missed_said(scene: Scene) -> Said | None:
    """Why a visit did not happen, who was told, and when it is tried again."""
    visit = scene.visit
    if visit.kind != "missed":
        return None
    parts = (
        f"Visit missed: {NOT_DONE.get(visit.missed_reason or '', 'no reason noted')}",
        f"Told: {visit.missed_told}" if visit.missed_told else "",
        f"To be tried again: {visit.missed_again}" if visit.missed_again else "",
    )
    says = " ".join(sentence(part) for part in parts if part)
    return Said(f"missed:{visit.id}", says)
