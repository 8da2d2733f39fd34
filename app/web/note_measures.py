"""The tests of a visit as facts of its note: its results, and what did not count.

A score is linked to daily life only by a signed goal that is measured by this test and
names a task: no other relation is on record, and none is guessed.
"""

from collections.abc import Iterator, Sequence
from datetime import date

from app.clinical.assistance import LEVELS
from app.clinical.goals import one_line
from app.clinical.measure_line import measure_line
from app.clinical.note import Ref
from app.clinical.reading import Result
from app.clinical.visit_facts import Measured, Said
from app.clinical.visiting import TASKS
from app.storage.goal_rows import GoalRow
from app.storage.goals import body_of
from app.storage.observations import TaskObservation
from app.storage.trials import Trial, rounds_of
from app.web.goal_book import goal_of
from app.web.judging import Judged, compared_with, counted, counts, takes_stage
from app.web.note_scene import Scene
from app.web.rejudging import judged_all
from app.web.result_view import made_beside
from app.web.setup_form import setup_words
from app.web.trial_words import trial_words

#: What the readings of a cuff say themselves.
_IN_READINGS = ("First ", "Lowest ")
#: Of a rule's label: `one timed walk after one untimed practice`.
_NAMES_PRACTICE = "after one"
#: What came to no result, though it is one.
_ENDED = ("declined", "not_done", "stopped")


def judged_in(scene: Scene) -> list[Judged]:
    """The visit's rounds, in the order they were begun."""
    mine = scene.visit.id
    found = judged_all(
        scene.session, scene.shelf, scene.patient, lambda r: r.visit_id == mine,
        scene.details,
    )  # fmt: skip
    return sorted(found, key=lambda judged: judged.round.id)


def measures_said(
    scene: Scene,
    rounds: Sequence[Judged],
    goals: Sequence[GoalRow],
    tasks: Sequence[TaskObservation],
) -> tuple[Measured, ...]:
    """The line of every round that came to a result, or ended without one."""
    found = []
    for judged in rounds:
        result = judged.result
        if result is None:
            continue
        before = compared_with(judged.earlier)
        serving = [g for g in goals if _serves(g, judged, scene.visit.local_date)]
        line = measure_line(
            result,
            setup=setup_words(judged.measure, result.score.facts)
            if result.score.facts
            else "",
            before_on=before.on_date if before else None,
            link="; ".join(_link(scene, goal, tasks) for goal in serving),
            beside=_beside(judged, result),
        )
        refs = [Ref("round", judged.round.id), *_made_with(scene, judged)]
        refs += [Ref("round", before.round.id)] if before else []
        refs += [Ref("goal", goal.id) for goal in serving]
        found.append(
            Measured(
                f"round:{judged.round.id}", line.text, tuple(refs),
                name=judged.measure.name, line=line,
                done=result.score.outcome not in _ENDED,
            )
        )  # fmt: skip
    return tuple(found)


def _beside(judged: Judged, result: Result) -> list[str]:
    """What else the trials made; of a cuff each reading, with what was felt.

    A rule that names a practice does not say that there was one: that is said.
    """
    said = made_beside(judged, result)
    if judged.measure.kind == "pressure":
        taken = [t for t in judged.trials if counts(t)]
        readings = [trial_words(trial, judged.measure) for trial in taken]
        said = [*readings, *(s for s in said if not s.startswith(_IN_READINGS))]
    practised = any(t.practice and t.voided_at is None for t in judged.trials)
    rule = judged.measure.variant(judged.round.variant or None)
    named = rule.practice and _NAMES_PRACTICE in rule.label
    if named and not practised and result.score.outcome == "completed":
        said.append("no practice is on record")
    return said


def _made_with(scene: Scene, judged: Judged) -> Iterator[Ref]:
    """The day's rounds of the tests that this one is made with."""
    for other in sorted(judged.measure.made_from):
        for kept in rounds_of(scene.session, scene.patient.id, other):
            if kept.on_date == judged.on_date:
                yield Ref("round", kept.round.id)


def _serves(goal: GoalRow, judged: Judged, day: date) -> bool:
    """Signed, open on that day, measured by this test, and about something done."""
    is_open = goal.set_on <= day and (goal.closed_on is None or goal.closed_on >= day)
    about = bool(goal.task or goal.phrase)
    signed = goal.signed_at is not None
    return is_open and about and signed and goal.measure == judged.measure.id


def _link(scene: Scene, goal: GoalRow, tasks: Sequence[TaskObservation]) -> str:
    """`goal 1 (Climb the stairs: 12.0 s or less); in this visit, stairs: stand-by`."""
    measure = scene.shelf.measures.get(goal.measure or "")
    said = f"goal {goal.number} ({one_line(goal_of(body_of(goal)), measure)})"
    same = [task for task in tasks if goal.task and task.task == goal.task]
    if not same:
        return said
    level = LEVELS[same[-1].level or "total"].words
    return f"{said}; in this visit, {TASKS[same[-1].task]}: {level}"


def not_counted(rounds: Sequence[Judged]) -> Iterator[Said]:
    """Of each round the trials that made no score, each with the reason."""
    for judged in rounds:
        name, number = judged.measure.name, judged.round.id
        refs = (Ref("round", number),)
        if judged.result is None and judged.trials:
            told = "; ".join(_each(judged))
            says = f"{name}, no score: {judged.missing} {told}".strip()
            yield Said(f"round:{number}:no_score", says, refs)
        elif told := "; ".join(_each(judged)):
            yield Said(
                f"round:{number}:not_counted", f"{name}, not counted: {told}", refs
            )


def _each(judged: Judged) -> Iterator[str]:
    taken = _taken(judged)
    for trial in judged.trials:
        if trial.id not in taken:
            yield f"{trial_words(trial, judged.measure)} ({_why(judged, trial)})"


def _taken(judged: Judged) -> set[int]:
    """The trials that the result is made of, or that say why there is none."""
    if judged.result is None:
        return set()
    score = judged.result.score
    rule = judged.measure.variant(judged.round.variant or None)
    if score.outcome != "completed":
        same = (t for t in judged.trials if t.outcome == score.outcome)
        return {t.id for t in same if t.voided_at is None and not t.practice}
    if rule.take == "held":
        return {t.id for t in judged.trials if takes_stage(t)}
    pool = judged.trials if rule.take == "fall" else counted(judged.trials, rule.of)
    return {t.id for t in pool if counts(t)}


def _why(judged: Judged, trial: Trial) -> str:
    if trial.voided_at is not None:
        return f"taken back: {trial.void_reason}"
    if trial.practice:
        return "practice"
    if trial.outcome != "completed":
        return "no number"
    if judged.result is None:
        return "counted so far"
    if judged.result.score.outcome == "completed":
        return "more than the rule takes"
    return "the test ended before its score"
