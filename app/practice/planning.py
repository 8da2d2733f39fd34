"""What goes wrong in one showing: drawn from the case's plan by the seed.

Whether anything does, what of all that may, and when: so that nobody can learn a trial
by its number. The same seed plans the same on every machine.
"""

from typing import Final

from app.practice.case import Case, Planned, Possible
from app.practice.chance import Chance

#: Raised whenever a generator would make another timeline from the same seed.
GENERATOR: Final = "2"
#: Where more than one thing can go wrong in one trial and still be seen apart.
TOGETHER: Final = frozenset(
    {"five_times_sit_to_stand", "thirty_second_chair_stand", "four_square_step"}
)


def planned(case: Case, trial: int, seed: int) -> tuple[Planned, ...]:
    """The faults of that showing, in their order; KeyError for no such trial."""
    plan = case.plan(trial)
    chance = Chance("faults", GENERATOR, case.id, trial, seed)
    if chance.between(0, 100) >= plan.wrong:
        return ()
    many = 1 + _below(chance, plan.most)
    left, chosen = list(case.possible), list[Planned]()
    while left and len(chosen) < many:
        one = _planned(left.pop(_below(chance, len(left))), chance)
        if not any(one.at and one.at == other.at for other in chosen):
            chosen.append(one)
    return tuple(sorted(chosen, key=lambda one: (one.at, one.kind)))


def _planned(one: Possible, chance: Chance) -> Planned:
    first, last = one.at
    return Planned(one.kind, first + _below(chance, last - first + 1), one.facts)


def _below(chance: Chance, many: int) -> int:
    """A whole number from 0 to below `many`, all equally likely."""
    return min(int(chance.between(0, many)), many - 1)
