"""Goals of a visit's day, and what is proposed, planned and due after it."""

from collections.abc import Iterator, Sequence

from app.clinical.days import full_day
from app.clinical.goals import CLOSES, STANDINGS, TERMS, one_line, sentence
from app.clinical.grading import LAST_TIME, propose
from app.clinical.note import Ref
from app.clinical.owing import owed_by
from app.clinical.session_plan import Item
from app.clinical.visit_facts import GoalSaid, Said
from app.storage.activity_sets import ActivitySet
from app.storage.goal_rows import GoalRow
from app.storage.goals import body_of
from app.storage.owing import last_events, treatment_days
from app.storage.plans import lines_of, plan_after
from app.storage.precautions import precautions_on
from app.web.clock_lines import WORDS
from app.web.done_sets import done_sets
from app.web.due import clearance_of
from app.web.goal_book import GoalBook, goal_of
from app.web.judging import Judged
from app.web.note_scene import Scene
from app.web.planning import plan_of, plan_of_visit

_STEPS = {"up": "a step up, to", "stay": "stay at", "down": "a step down, to"}


def goals_said(scene: Scene, book: GoalBook) -> tuple[GoalSaid, ...]:
    """The goals that were open on the visit's day, or ended on it."""
    day = scene.visit.local_date
    return tuple(
        _goal(scene, book, row)
        for row in book.goals
        if row.set_on <= day and (row.closed_on is None or row.closed_on >= day)
    )


def _goal(scene: Scene, book: GoalBook, row: GoalRow) -> GoalSaid:
    day, body = scene.visit.local_date, body_of(row)
    goal, measure = goal_of(body), book.measure(body)
    progress = None if row.set_on == day else book.progress(row, day)
    refs = [Ref("goal", row.id)]
    if progress is not None and progress.on is not None:
        rests_on = book.evidence(row, progress.on)
        refs += [Ref(name.removesuffix("_id"), n) for name, n in rests_on.items()]
    for kind, start in (("round", row.base_round_id), ("task", row.base_task_id)):
        refs += [Ref(kind, start)] if start else []
    return GoalSaid(
        f"goal:{row.id}",
        sentence(goal, measure),
        tuple(dict.fromkeys(refs)),
        number=row.number,
        term=TERMS[row.term],
        short=one_line(goal, measure),
        start=f"{row.base_says} on {full_day(row.base_on)}" if row.base_on else "",
        progress=progress.says if progress else "",
        standing=_standing(scene, book, row, progress.says if progress else ""),
        ended=_ended(scene, row),
        signed=row.signed_at is not None,
    )


def _standing(scene: Scene, book: GoalBook, row: GoalRow, known: str) -> str:
    """The last word of the day on how it stands, without what is `known` beside it."""
    day = scene.visit.local_date
    words = [w for w in book.standings.get(row.id, ()) if w.on_date == day]
    if not words:
        return ""
    last = words[-1]
    more = f": {last.says}" if last.says and last.says != known else ""
    return STANDINGS[last.word] + more


def _ended(scene: Scene, row: GoalRow) -> str:
    if row.closed_on != scene.visit.local_date or row.close_word is None:
        return ""
    return f"{CLOSES[row.close_word]}: {row.close_reason}"


def grades_said(scene: Scene, sets: Sequence[ActivitySet]) -> Iterator[Said]:
    """The next grade of each activity done today, from all that was done until now."""
    tried = {s.activity for s in sets if s.outcome in ("done", "stopped")
             and s.voided_at is None}  # fmt: skip
    if not tried:
        return
    day = scene.visit.local_date
    known = [s for s in done_sets(scene.session, scene.patient.id) if s.on <= day]
    for key in dict.fromkeys(s.activity for s in sets if s.activity in tried):
        activity = scene.shelf.activities.get(key)
        if activity is None:
            continue
        proposal = propose(activity, known)
        if proposal.direction == "start":
            continue
        refs = tuple(Ref("set", s.id) for s in known if s.activity == key)
        step = f"{_STEPS[proposal.direction]} {activity.grade.words(proposal.value)}"
        because = proposal.because
        if because.startswith(LAST_TIME):  # which was this visit
            because = f"In this visit, {because.removeprefix(LAST_TIME)}"
        says = f"{activity.name}, proposed: {step}. {because}"
        yield Said(f"grade:{key}", says, refs)


def planned_said(scene: Scene, sets: Sequence[ActivitySet]) -> Iterator[Said]:
    """What stands in the next plan, and what of this day's plan has no set."""
    visit, refs = scene.visit, (Ref("episode", scene.episode.id),)
    done = {row.activity for row in sets if row.voided_at is None}
    today = plan_of_visit(scene.session, scene.shelf, visit).plan.items
    left = [item.activity.name for item in today if item.activity.id not in done]
    if left:
        says = f"Planned for this visit, without a set: {', '.join(left)}"
        yield Said("planned:left", says, refs)
    following = plan_after(
        scene.session, scene.person, scene.episode, visit.local_date
    )  # fmt: skip
    if following is not None:
        items = plan_of(scene.shelf, lines_of(scene.session, following)).items
        told = "; ".join(map(_item, items))
        says = f"Planned for {full_day(following.for_date)}: {told}"
        yield Said(f"planned:{following.id}", says, refs)


def _item(item: Item) -> str:
    sets = f"{item.sets} set{'s' * (item.sets != 1)}"
    return f"{item.activity.name}, {sets} at {item.activity.grade.words(item.grade)}"


def due_said(scene: Scene, rounds: Sequence[Judged]) -> Iterator[Said]:
    """The episode's clocks as they ran on the day, and when its tests are due again."""
    day, episode = scene.visit.local_date, scene.episode
    clocks = scene.site.settings.clocks
    last = last_events(scene.session, episode, day)
    found = owed_by(
        [d for d in treatment_days(scene.session, episode) if d <= day], clocks=clocks,
        reported=last.get("report"), certified=last.get("recertify"),
        reassessed=last.get("reassess"),
    )  # fmt: skip
    refs = (Ref("episode", episode.id),)
    for owed in found:
        when = f"due {full_day(owed.due_on)}" if owed.due_on else ""
        used = owed.words if owed.kind == "report" else ""
        told = ", ".join(part for part in (used, when) if part)
        yield Said(f"due:{owed.kind}", f"{WORDS[owed.kind][0]}: {told}", refs)
    yield from _retests(scene, rounds)


def _retests(scene: Scene, rounds: Sequence[Judged]) -> Iterator[Said]:
    """Of tests that were tried; what an order forbids is never due."""
    day = scene.visit.local_date
    tags = [p.tag for p in precautions_on(scene.session, scene.episode, day)]
    due: dict[str, str] = {}
    refs = []
    for judged in rounds:
        again = judged.measure.due_after(day, scene.site.settings.clocks.retest)
        tried = judged.result and judged.result.score.outcome in (
            "completed", "unable",
        )  # fmt: skip
        if tried and again and clearance_of(judged.measure, tags).allowed:
            due[judged.measure.name] = full_day(again)
            refs.append(Ref("round", judged.round.id))
    if due:
        told = "; ".join(f"{name} {when}" for name, when in due.items())
        yield Said("due:tests", f"Tests due again: {told}", tuple(refs))
