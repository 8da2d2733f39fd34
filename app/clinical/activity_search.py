"""Activities found by plain words: what somebody would type who knows no id."""

import re
from collections.abc import Iterable, Mapping
from typing import Final

from app.clinical.activity import DOMAINS, POSITIONS, Activity

_WORD: Final = re.compile(r"[^\W_]+")


def find(
    activities: Iterable[Activity], typed: str, deficits: Mapping[str, str]
) -> list[Activity]:
    """Those in which every typed word begins a word; by name first, then the rest.

    `deficits` gives the words of a deficit by its key. Nothing typed finds nothing.
    """
    wanted = _WORD.findall(typed.lower())
    if not wanted:
        return []
    named, others = [], []
    for activity in activities:
        if _all_in(wanted, _names(activity)):
            named.append(activity)
        elif _all_in(wanted, f"{_names(activity)} {_rest(activity, deficits)}"):
            others.append(activity)
    return named + others


def _all_in(wanted: Iterable[str], text: str) -> bool:
    words = _WORD.findall(text.lower())
    return all(any(word.startswith(want) for word in words) for want in wanted)


def _names(activity: Activity) -> str:
    return " ".join((activity.id, activity.name, *activity.other_names))


def _rest(activity: Activity, deficits: Mapping[str, str]) -> str:
    """What it is for and what it takes."""
    return " ".join(
        (
            activity.occupation,
            DOMAINS[activity.domain],
            POSITIONS[activity.position],
            *activity.needs,
            *(deficits.get(key, key) for key in activity.answers),
            activity.grade.what,
        )
    )
