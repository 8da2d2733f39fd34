"""A session plan: what is meant to be done today, in order, at which grade.

Every way into a plan asks `allowing.permit`. What these functions return never holds an
activity that an order in force blocks; a risk needs somebody who may go against it and
their reason, which holds for the risks it was given for and no others.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

from app.clinical.activity import Activity
from app.clinical.allowing import Permit, permit

LONGEST_REASON: Final = 300
MOST_SETS: Final = 10


class Refused(ValueError):
    """Not planned; `sentence` says why. `needs_reason`: a typed reason would do."""

    def __init__(self, sentence: str, *, needs_reason: bool = False) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.needs_reason = needs_reason


@dataclass(frozen=True, slots=True)
class Item:
    """One activity of a plan. `override` is the reason to go against `against`."""

    activity: Activity
    grade: Decimal
    sets: int
    minutes: int
    override: str = ""
    against: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """What is planned, in order; each activity once."""

    items: tuple[Item, ...] = ()

    @property
    def minutes(self) -> int:
        return sum(item.minutes for item in self.items)

    def has(self, activity_id: str) -> bool:
        return any(item.activity.id == activity_id for item in self.items)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """An item that may not be done now. `needs_reason`: a new reason would do."""

    item: Item
    why: str
    needs_reason: bool = False


@dataclass(frozen=True, slots=True)
class Standing:
    """What of a plan may still be done, and what an order or a risk took out."""

    plan: Plan
    taken_out: tuple[LeftOut, ...] = ()


def item_of(
    activity: Activity, grade: Decimal | None = None, sets: int | None = None
) -> Item:
    """An item at its usual start and dose where nothing else is said."""
    at = activity.grade.start if grade is None else grade
    wanted = activity.dose.sets if sets is None else sets
    return Item(activity, at, wanted, activity.dose.minutes(wanted))


def add(
    plan: Plan,
    item: Item,
    tags: Iterable[str],
    *,
    may_override: bool,
    reason: str = "",
) -> Plan:
    """The plan with one more at its end. One that is there already keeps its place,
    grade and sets, and takes a new reason. Raise Refused."""
    in_force = tuple(tags)
    reason = reason.strip()
    risks = _allowed(item.activity, in_force, may_override, reason)
    _fits(item)
    made = replace(
        item,
        override=reason if risks else "",
        against=risks,
    )
    if not plan.has(item.activity.id):
        return unblocked(Plan((*plan.items, made)), in_force)

    def again(old: Item) -> Item:
        return replace(old, override=made.override, against=risks) if risks else old

    return _changed(plan, item.activity.id, again, in_force)


def remove(plan: Plan, activity_id: str, tags: Iterable[str]) -> Plan:
    rest = tuple(i for i in plan.items if i.activity.id != activity_id)
    return unblocked(Plan(rest), tags)


def move(plan: Plan, activity_id: str, by: int, tags: Iterable[str]) -> Plan:
    """One place up (-1) or down (1); at the end it stays."""
    items = list(plan.items)
    at = next((n for n, i in enumerate(items) if i.activity.id == activity_id), None)
    if at is not None:
        one = items.pop(at)
        items.insert(min(len(items), max(0, at + by)), one)
    return unblocked(Plan(tuple(items)), tags)


def with_grade(
    plan: Plan, activity_id: str, grade: Decimal, tags: Iterable[str]
) -> Plan:
    """The same at another grade, between easiest and hardest. Raise Refused."""

    def graded(item: Item) -> Item:
        made = replace(item, grade=grade)
        _fits(made)
        return made

    return _changed(plan, activity_id, graded, tags)


def with_sets(plan: Plan, activity_id: str, sets: int, tags: Iterable[str]) -> Plan:
    """The same with so many sets, which sets its minutes. Raise Refused."""

    def counted(item: Item) -> Item:
        _fits(replace(item, sets=sets))
        return replace(item, sets=sets, minutes=item.activity.dose.minutes(sets))

    return _changed(plan, activity_id, counted, tags)


def copied(
    plan: Plan,
    earlier: Iterable[Item],
    tags: Iterable[str],
    *,
    may_override: bool,
    reasons: Mapping[str, str],
) -> Standing:
    """The plan with what an earlier one held, and what could not come along.

    A reason of then is no reason of today: a risk in force asks for a new one.
    """
    in_force, left = tuple(tags), []
    for item in earlier:
        if plan.has(item.activity.id):
            continue
        reason = reasons.get(item.activity.id, "")
        try:
            plan = add(plan, item, in_force, may_override=may_override, reason=reason)
        except Refused as no:
            left.append(LeftOut(item, no.sentence, no.needs_reason))
    return Standing(unblocked(plan, in_force), tuple(left))


def standing(plan: Plan, tags: Iterable[str]) -> Standing:
    """What may still be done under what is in force now, and what was taken out."""
    in_force = tuple(tags)
    stays, out = [], []
    for item in plan.items:
        found = permit(item.activity, in_force)
        new = [p for p in found.risks if p.tag not in item.against]
        if found.blocked:
            out.append(LeftOut(item, blocked_words(found)))
        elif new or (found.risks and not item.override.strip()):
            out.append(LeftOut(item, risk_words(found), needs_reason=True))
        else:
            stays.append(item)
    return Standing(Plan(tuple(stays)), tuple(out))


def blocked_words(found: Permit) -> str:
    """Which orders block, and what lifts them."""
    orders = "; ".join(p.label for p in found.orders)
    return f"{orders}. Only a changed order lifts this."


def risk_words(found: Permit) -> str:
    """Which risks it must not meet."""
    return "; ".join(p.label for p in found.risks)


def _allowed(
    activity: Activity, tags: tuple[str, ...], may_override: bool, reason: str
) -> tuple[str, ...]:
    """The risks gone against, if all of it is allowed; else Refused."""
    found = permit(activity, tags)
    if found.blocked:
        raise Refused(f"Not planned, for an order is in force: {blocked_words(found)}")
    if len(reason) > LONGEST_REASON:
        raise Refused(f"Say why in at most {LONGEST_REASON} letters.")
    if not found.allows(may_override=may_override, reason=reason):
        if not may_override:
            raise Refused(
                f"Not planned, for a risk is in force: {risk_words(found)}. Only a "
                "therapist may go on, with a reason."
            )
        raise Refused(
            f"A risk is in force: {risk_words(found)}. Say why you go on.",
            needs_reason=True,
        )
    return tuple(p.tag for p in found.risks)


def _fits(item: Item) -> None:
    grade = item.activity.grade
    if not grade.within(item.grade):
        low, high = (f"{g.normalize():f}" for g in (grade.easiest, grade.hardest))
        raise Refused(f"From {low} (easiest) to {high} (hardest).")
    if not 1 <= item.sets <= MOST_SETS:
        raise Refused(f"From 1 to {MOST_SETS} sets.")


def _changed(
    plan: Plan, activity_id: str, change: Callable[[Item], Item], tags: Iterable[str]
) -> Plan:
    made = tuple(change(i) if i.activity.id == activity_id else i for i in plan.items)
    return unblocked(Plan(made), tags)


def unblocked(plan: Plan, tags: Iterable[str]) -> Plan:
    """Without what an order in force blocks, whatever way it came in."""
    in_force = tuple(tags)
    return Plan(
        tuple(i for i in plan.items if not permit(i.activity, in_force).blocked)
    )
