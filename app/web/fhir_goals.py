"""Goals as values for FHIR: how each stands and what shows it."""

from collections.abc import Iterator
from typing import Final

from app.clinical.assistance import LEVELS
from app.clinical.goal_progress import Progress
from app.clinical.goals import CLOSES, DOES, STANDINGS, TERMS, sentence
from app.clinical.owing import Clocks
from app.exports.fhir_values import Amount, GoalValue
from app.storage.goal_rows import GoalRow, GoalWord
from app.storage.goals import body_of
from app.storage.observations import TaskObservation, recorded
from app.storage.trials import Round
from app.web.fhir_gathering import Gathering, episode_key
from app.web.goal_book import GoalBook, goal_of, open_book

#: How a closed goal ended, in FHIR's words (R4, goal-status): what is no longer sought
#: is completed; what was given up, also for another goal, is cancelled.
_ENDED: Final = {"met": "completed", "not_met": "completed"}
#: How far it has come: FHIR R4, goal-achievement.
_ACHIEVED: Final = {
    "none_yet": "in-progress",
    "untold": "in-progress",
    "worse": "worsening",
    "no_change": "no-change",
    "on_the_way": "improving",
    "reached": "achieved",
}


def goals(
    g: Gathering, clocks: Clocks, rounds_out: frozenset[int], standard: frozenset[str]
) -> list[GoalValue]:
    """All that somebody answers for: a student's own wait for a signature.

    `rounds_out` are rounds no goal may lean on; `standard` are the keys of scores that
    were done in the published set-up.
    """
    found, tasks_out = [], _tasks_out(g)
    for episode in g.episodes.values():
        book = open_book(g.session, g.shelf, clocks, g.zone, g.patient, episode)
        book.without_rounds, book.without_tasks = rounds_out, tasks_out
        book.standings = {
            goal_id: [word for word in words if _answered(g, word)]
            for goal_id, words in book.standings.items()
        }
        for row in book.goals:
            if row.signed_at is None and row.set_by in g.release.students:
                g.release.left_out["goals"] += 1
            else:
                found.append(_goal(g, book, row, standard))
    return found


def _tasks_out(g: Gathering) -> frozenset[int]:
    return frozenset(
        row.id
        for visit in g.visits.values()
        for row in recorded(g.session, visit, TaskObservation)
        if not g.release.may_go(visit.id, row.recorded_by, row.recorded_at)
    )


def _answered(g: Gathering, word: GoalWord) -> bool:
    """Nobody signs how a goal stands, so a student's word on it never goes out."""
    theirs = word.recorded_by in g.release.students
    g.release.left_out["words on goals"] += theirs
    return not theirs


def _goal(
    g: Gathering, book: GoalBook, row: GoalRow, standard: frozenset[str]
) -> GoalValue:
    body, measure = body_of(row), book.measure(body_of(row))
    words = book.standings.get(row.id, ())
    last = words[-1] if words else None
    achieved, said = _achieved(row, book.progress(row), last)
    begins_at = _begins_at(g, row)
    target = goal_of(body).target
    return GoalValue(
        key=f"goal {row.uid}",
        episode=episode_key(g.patient, book.episode),
        person=g.person(row.signed_by or row.set_by),
        number=row.number,
        term=TERMS[row.term],
        sentence=sentence(goal_of(body), measure),
        state=_state(row, last),
        achieved=achieved,
        achieved_words=said,
        set_on=row.set_on,
        due=row.by_date,
        what=_what(book, row),
        measure=row.measure or "" if begins_at in standard else "",
        amount=None
        if target.value is None
        else Amount(target.value, target.unit),
        at_least=measure is not None and measure.better == "higher",
        level=(target.level, LEVELS[target.level].words) if target.level else None,
        times=f"{row.times} of {row.out_of} trials" if row.times else "",
        why=row.close_reason,
        state_on=row.closed_on,
        begins_at=begins_at if begins_at in g.gone else "",
        notes=tuple(_notes(book, row, last)),
    )  # fmt: skip


def _state(row: GoalRow, last: GoalWord | None) -> str:
    """FHIR R4, goal-status. Nobody has agreed to a goal that is not signed."""
    if row.close_word is not None:
        return _ENDED.get(row.close_word, "cancelled")
    if row.signed_at is None:
        return "proposed"
    return "on-hold" if last is not None and last.word == "on_hold" else "active"


def _achieved(
    row: GoalRow, progress: Progress, last: GoalWord | None
) -> tuple[str, str]:
    """A person's word before what was measured."""
    if row.close_word in ("met", "not_met"):
        code = "achieved" if row.close_word == "met" else "not-achieved"
        return code, CLOSES[row.close_word]
    if last is not None and last.word == "plateau":
        return "no-change", STANDINGS["plateau"]
    return _ACHIEVED[progress.state], progress.says


def _what(book: GoalBook, row: GoalRow) -> tuple[str, str]:
    """What is looked at: a test, or the task of the day."""
    measure = book.measure(body_of(row))
    if row.measure:
        return f"test.{row.measure}", measure.name if measure else row.measure
    words = row.phrase or DOES.get(row.task or "", "") or row.kind
    return f"task.{row.task}" if row.task else "task", words


def _begins_at(g: Gathering, row: GoalRow) -> str:
    if row.base_round_id is not None:
        return f"round {g.session.get_one(Round, row.base_round_id).uid}"
    if row.base_task_id is not None:
        return f"task {g.session.get_one(TaskObservation, row.base_task_id).uid}"
    return ""


def _notes(book: GoalBook, row: GoalRow, last: GoalWord | None) -> Iterator[str]:
    numbers = {goal.id: goal.number for goal in book.goals}
    if row.signed_at is None:
        yield "Not signed yet."
    if row.base_on is not None and book.baseline(body_of(row)) is not None:
        yield f"Start: {row.base_says}, {row.base_on}."
    if last is not None:
        said = f": {last.says.rstrip('.')}" if last.says else ""
        yield f"{STANDINGS[last.word].capitalize()} on {last.on_date}{said}."
    if row.close_word is not None:
        yield f"Closed as {CLOSES[row.close_word]}."
    if row.parent_id in numbers:
        yield f"Leads to goal {numbers[row.parent_id]}."
    if row.replaces_id in numbers:
        yield f"In place of goal {numbers[row.replaces_id]}."
