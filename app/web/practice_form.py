"""What was timed and said of a practice trial -> a Said, or sentences beside fields."""

import json
import re
from collections.abc import Collection
from decimal import Decimal
from typing import Final

from app.clinical.measure import Measure
from app.practice.attempt import Said, Way
from app.storage.practice import LONGEST_MS
from app.web.deps import Form, FormProblem

Errors = dict[str, str]
MOST_SPLITS: Final = 200
DAMAGED: Final = "The time of this trial was damaged. Practise it again."
_NUMBER: Final = re.compile(r"\d{1,4}([.,]\d{1,3})?", re.ASCII)


def was_watched(form: Form, begun: Way) -> bool:
    """Seen as a figure, and not read in words: as it was begun, whatever is sent.

    Where that was not kept by what was sent; a reach has no times to tell it by.
    """
    if begun:
        return begun == "watched"
    timed = any(form.text(name) for name in ("start_ms", "stop_ms", "safe_ms"))
    return timed or form.text("way") == "watched"


def was_stopped(form: Form) -> bool:
    """ "Stop - make safe" was pressed, or would have been: there is nothing to time."""
    return form.text("made_safe") == "yes"


def read_said(
    measure: Measure, kinds: Collection[str], form: Form, watched: bool, errors: Errors
) -> Said:
    """What was sent; what is missing is said in `errors` beside its field.

    `watched`: as `was_watched` says.

    Raises:
        FormProblem: what the page itself fills in is not as it makes it.
    """
    faults = tuple(sorted(set(form.every("fault"))))
    if not set(faults) <= set(kinds):
        raise FormProblem("This page is no longer current. Open it again.")
    start = stop = typed = None
    splits: tuple[int, ...] = ()
    valid = {"yes": True, "no": False}.get(form.text("valid"))
    way: Way = "watched" if watched else "words"
    if was_stopped(form):
        at = _instant(form, "safe_ms") if watched else None
        return Said(
            faults=faults, valid=valid, way=way, made_safe=True, made_safe_ms=at
        )
    if watched and (measure.timed or measure.kind == "count"):
        start, stop = _instant(form, "start_ms"), _instant(form, "stop_ms")
        if start > stop:
            raise FormProblem(DAMAGED)
        splits = tuple(start + split for split in _splits(form))
    elif measure.timed:  # read in words
        typed = _typed(form, errors)
    return Said(
        start_ms=start,
        stop_ms=stop,
        typed_ms=typed,
        splits=splits,
        count=_count(form, errors) if measure.kind == "count" else None,
        distance=_distance(form, errors) if measure.kind == "distance" else "",
        faults=faults,
        valid=valid,
        way=way,
    )


def _instant(form: Form, name: str) -> int:
    sent = form.text(name)
    if not re.fullmatch(r"-?\d{1,7}", sent, re.ASCII) or abs(int(sent)) > LONGEST_MS:
        raise FormProblem(DAMAGED)
    return int(sent)


def _splits(form: Form) -> tuple[int, ...]:
    """Since the start by the stopwatch, in order."""
    try:
        sent = json.loads(form.text("splits_ms") or "[]")
    except ValueError:
        raise FormProblem(DAMAGED) from None
    whole = isinstance(sent, list) and all(
        type(split) is int and 0 <= split <= LONGEST_MS for split in sent
    )
    if not whole or len(sent) > MOST_SPLITS or sent != sorted(sent):
        raise FormProblem(DAMAGED)
    return tuple(sent)


def _typed(form: Form, errors: Errors) -> int | None:
    number = _number(form.text("typed"))
    if number is None or not 0 < number * 1000 <= LONGEST_MS:
        errors["typed"] = "Type the time in seconds, such as 12.3."
        return None
    return int(number * 1000)


def _distance(form: Form, errors: Errors) -> str:
    number = _number(form.text("distance"))
    if number is None:
        errors["distance"] = "Type the distance in inches, such as 8.5."
        return ""
    return str(number)


def _count(form: Form, errors: Errors) -> int | None:
    sent = form.text("count")
    if not re.fullmatch(r"\d{1,3}", sent, re.ASCII):
        errors["count"] = "Type how many you counted."
        return None
    return int(sent)


def _number(sent: str) -> Decimal | None:
    return Decimal(sent.replace(",", ".")) if _NUMBER.fullmatch(sent) else None
