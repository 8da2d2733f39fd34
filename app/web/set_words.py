"""One stored set in words, the same on every page that lists it."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal

from app.catalogue.load import Catalogue
from app.clinical.activity import Activity
from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS
from app.clinical.doing import HAND_SUPPORT, OUTCOMES
from app.clinical.make_safe import SYMPTOMS
from app.clinical.quantities import shown
from app.clinical.visiting import NOT_DONE
from app.storage.activity_sets import ActivitySet
from app.web.dates import day_words

#: What is counted in whole numbers: one of it, several, and what none reads.
_COUNTED = (
    ("reps", "repetition", "repetitions", "0 repetitions"),
    ("steps", "step", "steps", "0 steps"),
    ("steps_to_recover", "step to recover", "steps to recover", "no step to recover"),
    ("passes", "pass", "passes", "0 passes"),
    ("hazards", "hazard found", "hazards found", "no hazard found"),
)


def set_words(shelf: Catalogue, row: ActivitySet, symptoms: Sequence[str] = ()) -> str:
    """`Clock-direction stepping: 10 repetitions, 1 error, ring radius 12 in, ...`."""
    activity = shelf.activities.get(row.activity)
    name = activity.name if activity else row.activity
    return f"{name}: {done_words(row, activity, symptoms)}"


def done_words(
    row: ActivitySet, activity: Activity | None, symptoms: Sequence[str] = ()
) -> str:
    """The same without the activity's name."""
    parts = [*_outcome(row), *_counts(row), *_how(row, activity, symptoms)]
    return ", ".join(parts) or "done"


def _outcome(row: ActivitySet) -> Iterator[str]:
    if row.outcome != "done":
        why = f": {NOT_DONE[row.reason]}" if row.reason else ""
        yield OUTCOMES[row.outcome] + why


def _counts(row: ActivitySet) -> Iterator[str]:
    for name, one, many, none in _COUNTED:
        n = getattr(row, name)
        if n is not None:
            yield none if n == 0 else f"{n} {one if n == 1 else many}"
    if row.holds_ms:
        yield f"held {', '.join(map(_seconds, row.holds_ms))} s"
    if row.time_ms is not None:
        yield f"{_seconds(row.time_ms)} s"
    if row.distance is not None:
        yield f"{row.distance} {row.distance_unit}"
    if row.calls is not None:
        right = "" if row.correct is None else f"{row.correct} right of "
        yield f"{right}{row.calls} call{'s' * (row.calls != 1)}"
    if row.errors is not None:
        yield errors_words(row.errors)


def errors_words(n: int) -> str:
    return "no error" if n == 0 else f"{n} error{'s' * (n != 1)}"


def _seconds(ms: int) -> str:
    return str(shown(Decimal(ms) / 1000, "s"))


def _how(
    row: ActivitySet, activity: Activity | None, symptoms: Sequence[str]
) -> Iterator[str]:
    if row.grade is not None and activity is not None:
        yield activity.grade.words(Decimal(row.grade))
    if row.hand_support:
        yield HAND_SUPPORT[row.hand_support]
    if row.level:
        yield LEVELS[row.level].words
    if row.helpers is not None:
        yield f"{row.helpers or 'no'} helper{'s' * (row.helpers != 1)}"
    if row.cue_kind:
        amount = f", {CUE_AMOUNTS[row.cue_amount]}" if row.cue_amount else ""
        yield f"cues {CUE_KINDS[row.cue_kind]}{amount}"
    if row.effort is not None:
        yield f"effort {row.effort} on {row.effort_scale}"
    yield from (words for key, words in SYMPTOMS.items() if key in symptoms)
    if row.no_symptom:
        yield "no symptom"
    if row.note:
        yield f"“{row.note}”"
    if row.after_stop:
        yield "said to be well enough to go on after a stop"
    if row.override:
        yield f"against a risk because: “{row.override}”"


def last_time_words(
    rows: Sequence[ActivitySet],
    activity: Activity,
    on: date,
    today: date,
    stops: Iterable[str] = (),
) -> str:
    """`3 x 10 repetitions at hold 12 s, 1 error, contact guard, 24 Nov`, of one day.

    All that was tried counts, by grade; `stops` says each that was stopped, in words.
    """
    last = rows[-1]
    by_grade: dict[str | None, list[ActivitySet]] = {}
    for row in rows:
        by_grade.setdefault(row.grade, []).append(row)
    parts = ["; ".join(_sets_by(same, activity) for same in by_grade.values()), *stops]
    errors = [row.errors for row in rows if row.errors is not None]
    if errors:
        parts.append(errors_words(sum(errors)))
    if last.hand_support:
        parts.append(HAND_SUPPORT[last.hand_support])
    if last.level:
        parts.append(LEVELS[last.level].words)
    return ", ".join([*parts, day_words(on, today)])


def _sets_by(rows: Sequence[ActivitySet], activity: Activity) -> str:
    """`3 x 10 at 12 in`, or `2 sets at ...` where sets differ or hold no count."""
    amounts = [next(_counts_without_errors(row), "") for row in rows]
    many = f"{len(rows)} set{'s' * (len(rows) != 1)}"
    if len({*amounts}) == 1 and amounts[0]:
        many = f"{len(rows)} x {amounts[0]}"
    elif any(amounts):
        many = "; ".join(filter(None, amounts))
    grade = rows[-1].grade
    at = f" at {activity.grade.words(Decimal(grade))}" if grade is not None else ""
    return many + at


def _counts_without_errors(row: ActivitySet) -> Iterator[str]:
    said = errors_words(row.errors) if row.errors is not None else ""
    return (part for part in _counts(row) if part != said)
