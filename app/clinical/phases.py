"""Parts of a timed trial, from the moments that were marked while it ran.

A thumb marks them: each end is off by some 0.2 s (common practice), and published parts
were often cut out by a sensor or a camera.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

#: The moment the time began.
START: Final = "start"


@dataclass(frozen=True, slots=True)
class Phase:
    """A quantity made of stretches between marked moments, each from one to another."""

    quantity: str
    label: str
    stretches: tuple[tuple[str, str], ...]


def phase_seconds(
    phases: Sequence[Phase], names: Sequence[str], marked: Sequence[Sequence[Decimal]]
) -> Mapping[str, Fraction]:
    """Mean seconds of each phase over the trials, of which every moment was marked.

    `marked` holds each trial's moments in seconds from its start. A trial with another
    number of marks than the test has could be any of them: then nothing is known.

    >>> walk = Phase("out", "walk out", (("up", "line"),))
    >>> two = [[Decimal("1.5"), Decimal("4.0")], [Decimal("1.3"), Decimal("4.2")]]
    >>> phase_seconds([walk], ["up", "line"], two)
    {'out': Fraction(27, 10)}
    """
    if not marked or any(len(moments) != len(names) for moments in marked):
        return {}
    at = [{START: Decimal(0), **dict(zip(names, m, strict=True))} for m in marked]
    return {
        phase.quantity: sum(
            (Fraction(a[to]) - Fraction(a[since]) for a in at
             for since, to in phase.stretches),
            Fraction(0),
        ) / len(at)
        for phase in phases
    }  # fmt: skip
