"""Goal attainment scaling: what came of each goal on its own five steps, and one T.

T = 50 + 10 S(w x) / sqrt((1 - rho) S(w^2) + rho (S w)^2), x from -2 to +2, rho 0.3:
Kiresuk & Sherman 1968; the formula was read in another publication (secondary), and the
printed formulas of one well-known paper needed an erratum. A T says how goals came out
against what was expected of each; two people's T do not compare.
"""

from collections.abc import Sequence
from decimal import Context, Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from app.clinical.quantities import rounded

RHO: Final = Fraction(3, 10)
LOWEST, HIGHEST = -2, 2
#: What each step means. Common practice.
STEPS: Final = MappingProxyType(
    {
        -2: "much less than expected",
        -1: "less than expected",
        0: "as expected",
        1: "more than expected",
        2: "much more than expected",
    }
)
SOURCE: Final = (
    "T by the formula of Kiresuk & Sherman 1968 with rho 0.3 (secondary: read in "
    "another publication); mean 50 and SD 10 (Turner-Stokes 2009, abstract, whose "
    "printed formulas an erratum corrects)."
)
#: Enough digits that no rounding of the root is ever seen.
_EXACT: Final = Context(prec=40)


class NoScale(ValueError):
    """These goals make no T; the message says why."""


def t_score(
    rated: Sequence[tuple[int, Fraction | int]], rho: Fraction = RHO
) -> Decimal:
    """The T of (level, weight) pairs, to many digits; round it where it is shown.

    Raise NoScale without a goal, for a level outside -2..+2 and for a weight that is
    not above zero: a goal that counts for nothing is no goal, and T would be 50.

    >>> shown_t(t_score([(1, 1), (1, 1)]))
    Decimal('62.4')
    """
    if not rated:
        raise NoScale("No goal has been rated yet.")
    for level, weight in rated:
        if not LOWEST <= level <= HIGHEST:
            raise NoScale(f"A level lies from -2 to +2; {level} does not.")
        if weight <= 0:
            raise NoScale("Every weight must be above zero.")
    weights = [Fraction(weight) for _, weight in rated]
    gained = sum(
        weight * level for weight, (level, _) in zip(weights, rated, strict=True)
    )
    spread = (1 - rho) * sum(w * w for w in weights) + rho * sum(weights) ** 2
    root = _decimal(Fraction(spread)).sqrt(_EXACT)
    return _EXACT.add(Decimal(50), _EXACT.divide(_decimal(Fraction(10 * gained)), root))


def _decimal(value: Fraction) -> Decimal:
    return _EXACT.divide(Decimal(value.numerator), Decimal(value.denominator))


def shown_t(value: Decimal) -> Decimal:
    """To a tenth, half up."""
    return rounded(value, 1)


def step_words(level: int) -> str:
    """`+1, more than expected`."""
    sign = "+" if level > 0 else "−" if level < 0 else ""
    return f"{sign}{abs(level)}, {STEPS[level]}"
