"""Which activities answer what was shown, and why the others are not offered now.

Nothing is hidden for good: each stands with its reason, and only an order keeps it from
being planned. Common practice, not from a source.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from app.clinical.activity import DOMAINS, LEAST, Activity
from app.clinical.allowing import Permit, permit
from app.clinical.assistance import LEVELS
from app.clinical.choosing import Today
from app.clinical.days import short_day
from app.clinical.lately import Lately
from app.clinical.session_plan import blocked_words, risk_words

#: What meets each kit need of an activity: any one of these items of a room. People
#: are no kit.
MET_BY: Final[Mapping[str, tuple[str, ...]]] = {
    "strip": ("strip",),
    "chair": ("chair",),
    "counter": ("counter",),
    "cup": ("cup",),
    "table": ("table",),
    "towel": ("towel",),
    "wall": ("wall",),
    "gait belt": ("belt",),
    "chair or bed edge": ("chair", "bed"),
    "two surfaces": ("surfaces",),
    "bed edge or bench": ("bed", "bench"),
    "counter or chair back": ("counter", "chair"),
    "corner": ("corner",),
    "chair back": ("chair",),
    "second person": (),
    "bed": ("bed",),
    "stool or rolled towel": ("stool", "towel"),
    "bed or chair": ("bed", "chair"),
    "rail or counter": ("rail", "counter"),
    "lamp": ("lamp",),
}
#: How many there may be to guard.
PEOPLE: Final = {1: "one", 2: "two or more"}
#: Done in so many of the latest sessions, the next would be the third running.
RUNNING: Final = 2
#: An activity that answers one of these steps, turns, or does without sight.
_ON_THE_MOVE: Final = frozenset(
    {
        "slow_step_direction",
        "turn_unsteady",
        "recovery_step_poor",
        "slow_gait",
        "low_foot_clearance",
        "freezing_gait",
        "sensory_reliance_vision",
    }
)
_LEVELS: Final = tuple(LEVELS)
_LEAST: Final = tuple(LEAST)
#: The position that the help needed today was said of.
_POSITION: Final = {
    "lies": "lying", "sits_held": "seated", "sits": "seated",
    "stands_held": "standing", "stands": "standing", "walks": "standing",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an activity is not offered now."""

    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class Offer:
    """One activity: why it is offered, and what stands against it now.

    `answers`: which of the deficits asked for it answers. `people` how many it takes.
    """

    activity: Activity
    permit: Permit
    answers: tuple[str, ...]
    why: tuple[str, ...]
    against: tuple[Reason, ...]
    people: int
    last: Lately | None
    favourite: bool


@dataclass(frozen=True, slots=True)
class Suggestions:
    """All activities: the best offers first, then the others."""

    offered: tuple[Offer, ...]
    hidden: tuple[Offer, ...]


def suggest(
    activities: Iterable[Activity],
    deficits: Mapping[str, str],
    because: Mapping[str, str],
    tags: Iterable[str],
    today: Today,
    last: Mapping[str, Lately],
    favourites: Collection[str],
    *,
    may_override: bool,
) -> Suggestions:
    """Every activity, offered or hidden.

    `deficits` are those to answer, in words, the most telling first; `because` says
    how each was shown.
    """
    in_force = tuple(tags)
    found = []
    for activity in activities:
        answered = [key for key in deficits if key in activity.answers]
        recent, liked = last.get(activity.id), activity.id in favourites
        allowed = permit(activity, in_force)
        needed, why_two = people_needed(activity, today)
        against = _by_tags(allowed, may_override)
        against += _not_today(activity, today, needed, why_two)
        against += _again(recent)
        if not (answered or recent or liked):
            against.append(_unasked(deficits))
        why = _why(answered, deficits, because, recent, liked, activity)
        found.append(
            Offer(activity, allowed, tuple(answered), why, tuple(against), needed,
                  recent, liked)
        )  # fmt: skip
    found.sort(key=_order)
    return Suggestions(
        tuple(o for o in found if not o.against), tuple(o for o in found if o.against)
    )


def _order(offer: Offer) -> tuple[object, ...]:
    """More deficits answered, nearer the front, favourites, what goes on, what asks
    most of the person; orders last."""
    a = offer.activity
    return (
        offer.permit.blocked,
        -len(offer.answers),
        sum(a.answers.index(key) for key in offer.answers),
        not offer.favourite,
        offer.last is None,
        -_LEAST.index(a.least),
        a.minutes,
        a.id,
    )


def _why(
    answered: list[str],
    deficits: Mapping[str, str],
    because: Mapping[str, str],
    recent: Lately | None,
    liked: bool,
    activity: Activity,
) -> tuple[str, ...]:
    words = [
        f"answers “{deficits[key]}”"
        + (f": {because[key]}" if because.get(key) else ", which you chose")
        for key in answered
    ]
    if recent:
        day = short_day(recent.on)
        grade = activity.grade.words(recent.proposal.value)
        if recent.stopped:
            words.append(f"last time, on {day}, {recent.stopped}. Look into it first")
        else:
            words.append(f"done on {day}: go on at {grade}")
    return (*words, *(["a favourite of yours"] if liked else []))


def _by_tags(found: Permit, may_override: bool) -> list[Reason]:
    if found.blocked:
        return [Reason("order", blocked_words(found))]
    if found.risks:
        who = (
            "You may go on with a typed reason."
            if may_override
            else "Only a therapist may go on."
        )
        return [Reason("risk", f"{risk_words(found)}. {who}")]
    return []


def _not_today(
    activity: Activity, today: Today, needed: int, why_two: str
) -> list[Reason]:
    reasons = _beyond(activity, today)
    if today.people is not None and today.people < needed:
        reasons.append(Reason("people", f"takes two people: {why_two}"))
    lacking = [need for need in activity.needs if not _met(need, today.kit)]
    if lacking:
        reasons.append(Reason("kit", f"no {', no '.join(lacking)}"))
    if today.minutes is not None and activity.minutes > today.minutes:
        reasons.append(
            Reason(
                "minutes",
                f"takes about {activity.minutes} min, {today.minutes} are left",
            )
        )
    return reasons


def not_today(activity: Activity, today: Today) -> tuple[str, ...]:
    """Why it asks more than was said of the person today, or more people."""
    needed, why_two = people_needed(activity, today)
    said = [reason.words for reason in _beyond(activity, today)]
    if today.people is not None and today.people < needed:
        said.append(f"takes two people: {why_two}")
    return tuple(said)


def _met(need: str, kit: Collection[str]) -> bool:
    return not MET_BY[need] or any(item in kit for item in MET_BY[need])


def _beyond(activity: Activity, today: Today) -> list[Reason]:
    """More than the person can do, or done with less help than they need."""
    reasons = []
    if today.can and _LEAST.index(today.can) < _LEAST.index(activity.least):
        least, can = LEAST[activity.least], LEAST[today.can]
        reasons.append(Reason("ability", f"for somebody who {least}; today: {can}"))
    if _applies(activity, today):
        most, now = LEVELS[activity.help].words, LEVELS[today.help].words
        if _LEVELS.index(today.help) > _LEVELS.index(activity.help):
            reasons.append(Reason("help", f"for at most {most}; today: {now}"))
    return reasons


def _applies(activity: Activity, today: Today) -> bool:
    """Whether the help that was said is that of this position."""
    return bool(today.help) and _POSITION.get(today.can) == activity.position


def people_needed(activity: Activity, today: Today) -> tuple[int, str]:
    """How many must be there to guard it, and why more than one."""
    if activity.staff > 1:
        return 2, "always for this one"
    if not _applies(activity, today):
        return 1, ""
    words = LEVELS[today.help].words
    if today.help in ("maximal", "total"):
        return 2, f"{words} help, and a lift device"
    if activity.position == "standing" and today.help == "moderate":
        return 2, f"{words} help in standing"
    moves = activity.position == "standing" and _ON_THE_MOVE & {*activity.answers}
    if moves and today.help == "minimal":
        return 2, f"{words} help while stepping, turning or doing without sight"
    return 1, ""


def _again(recent: Lately | None) -> list[Reason]:
    if recent is None or recent.running < RUNNING or recent.progressing:
        return []
    return [
        Reason(
            "lately",
            f"done in the last {recent.running} sessions without a step up: time for "
            "another",
        )
    ]


def _unasked(deficits: Mapping[str, str]) -> Reason:
    if deficits:
        return Reason("unasked", "answers none of what was shown")
    return Reason("unasked", "nothing was shown that it would answer")


def matches(activity: Activity, typed: str, deficits: Mapping[str, str]) -> bool:
    """Whether every typed word stands in its names, its use, or what it answers."""
    told = " ".join(
        (
            activity.id,
            activity.name,
            *activity.other_names,
            activity.occupation,
            DOMAINS[activity.domain],
            *(deficits.get(key, "") for key in activity.answers),
        )
    ).casefold()
    return all(word in told for word in typed.casefold().split())
