"""A tape that is too long or too short, and what that does to a reach or a speed."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Final

#: Ten feet, as a right tape has them.
TAPE_INCHES: Final = Fraction(120)
#: The set-up fact that holds how many inches the tape's ten feet really are.
FACT: Final = "tape_true"
#: A tape further off than a tenth is misread, or no tape to use.
LEAST, MOST = TAPE_INCHES * 9 / 10, TAPE_INCHES * 11 / 10


def off_by(true_inches: Fraction) -> Fraction:
    """How much longer than its marks a length by this tape is, as a share."""
    return true_inches / TAPE_INCHES - 1


def course_metres(true_inches: Fraction) -> Fraction:
    """The real length in metres of ten feet laid out with the tape."""
    return true_inches * Fraction(254, 10_000)


def corrected(value: Fraction, facts: Mapping[str, str]) -> Fraction | None:
    """A distance or a speed as a right tape would have given it; None when not asked.

    Both grow with the tape: a mark is further out, a course is longer.
    """
    said = facts.get(FACT)
    if said is None or Fraction(said) == TAPE_INCHES:
        return None
    return value * Fraction(said) / TAPE_INCHES
