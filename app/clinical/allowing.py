"""Whether an activity may be done under the precautions in force: the one rule.

An order blocks it for everybody and is only lifted by changing the order. A risk that
the activity must not meet is gone against by a therapist alone, with a reason in
words; a student never. A caution changes the set-up and forbids nothing. Wording:
common practice.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from app.clinical.activity import Activity
from app.clinical.precautions import PRECAUTIONS, Precaution


@dataclass(frozen=True, slots=True)
class Permit:
    """What stands against an activity: orders, risks, and what to mind."""

    orders: tuple[Precaution, ...] = ()
    risks: tuple[Precaution, ...] = ()
    cautions: tuple[Precaution, ...] = ()

    @property
    def blocked(self) -> bool:
        """By an order: no reason and no role opens it."""
        return bool(self.orders)

    @property
    def needs_reason(self) -> bool:
        return bool(self.risks) and not self.orders

    def allows(self, *, may_override: bool, reason: str) -> bool:
        """Whether somebody may do it: `may_override` says if they may meet a risk."""
        if self.orders:
            return False
        return not self.risks or (may_override and bool(reason.strip()))


def permit(activity: Activity, in_force: Iterable[str]) -> Permit:
    """What the tags in force say of an activity, in the order of its file."""
    tags = set(in_force)
    against = [PRECAUTIONS[t] for t in activity.must_not if t in tags]
    return Permit(
        orders=tuple(p for p in against if p.kind == "order"),
        risks=tuple(p for p in against if p.kind == "risk"),
        cautions=tuple(PRECAUTIONS[t] for t in activity.caution if t in tags),
    )
