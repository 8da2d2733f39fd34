"""Goal attainment scaling against worked values, and what its formula promises.

Worked values: computed from the formula of Kiresuk & Sherman 1968 (secondary) with rho
0.3, to four decimals.
"""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.clinical.goal_scaling import STEPS, NoScale, shown_t, step_words, t_score
from app.clinical.quantities import rounded

rated = st.lists(
    st.tuples(st.integers(-2, 2), st.integers(1, 20)), min_size=1, max_size=8
)


@pytest.mark.parametrize(
    ("levels", "weights", "expected"),
    [
        ((0,), (1,), "50"),
        ((0, 0, 0), (3, 1, 2), "50"),
        ((1,), (1,), "60"),
        ((-1,), (1,), "40"),
        ((2,), (1,), "70"),
        ((1, 1), (1, 1), "62.4035"),
        ((1, 1, 1), (1, 1, 1), "63.6931"),
        ((-1, -1, -1), (1, 1, 1), "36.3069"),
        ((1, 0, -1), (1, 1, 1), "50"),
        ((2, 1, 0), (3, 2, 1), "67.6261"),
        ((1, 0, -1, 2), (1, 2, 3, 4), "58.4017"),
        ((-1, -1, -2), (4, 2, 6), "30.1706"),
    ],
)
def test_t_of_worked_examples(
    levels: tuple[int, ...], weights: tuple[int, ...], expected: str
) -> None:
    found = t_score(list(zip(levels, weights, strict=True)))

    assert rounded(found, 4) == Decimal(expected)


@given(rated, st.fractions(min_value=Fraction(1, 9), max_value=9))
def test_weights_times_a_number_give_the_same_t(
    goals: list[tuple[int, int]], factor: Fraction
) -> None:
    scaled = [(level, weight * factor) for level, weight in goals]

    assert rounded(t_score(scaled), 12) == rounded(t_score(goals), 12)


@given(rated)
def test_turned_round_it_lies_as_far_on_the_other_side(
    goals: list[tuple[int, int]],
) -> None:
    mirrored = t_score([(-level, weight) for level, weight in goals])

    assert rounded(mirrored + t_score(goals), 12) == 100


@pytest.mark.parametrize(
    ("goals", "says"),
    [
        ([], "No goal has been rated"),
        ([(1, 0)], "above zero"),
        ([(1, 0), (1, 0)], "above zero"),
        ([(1, 3), (1, -1)], "above zero"),
        ([(3, 1)], "from -2 to"),
        ([(-3, 1)], "from -2 to"),
    ],
)
def test_what_makes_no_t_is_refused(goals: list[tuple[int, int]], says: str) -> None:
    with pytest.raises(NoScale, match=says):
        t_score(goals)


def test_t_is_shown_to_a_tenth() -> None:
    assert shown_t(t_score([(1, 1), (1, 1)])) == Decimal("62.4")


def test_every_step_has_words_with_its_sign() -> None:
    said = [step_words(level) for level in STEPS]

    assert said[0] == "−2, much less than expected"
    assert said[2:4] == ["0, as expected", "+1, more than expected"]
