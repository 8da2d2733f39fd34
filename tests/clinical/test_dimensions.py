"""Lengths against references at their very edges, seats for a person, ramps.

References are those of the shipped file; the ends are 2010 ADA Standards, section as
named in each row. cm values lie on both sides of the exact conversion 1 in = 2.54 cm.
"""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.catalogue.load import catalogue
from app.clinical.dimensions import (
    Length,
    Reference,
    amount_words,
    cited,
    compare,
    inch_words,
    parse_length,
)
from app.clinical.quantities import BadNumber
from app.clinical.ramps import ramp_for, ramp_words, slope_of, slope_words
from app.clinical.seat_height import Leg, likely, own_words, start_words

THINGS = catalogue().dimensions.things
LEGS = catalogue().dimensions.legs
HAIR = Decimal("0.0001")


def inches(value: str) -> Length:
    return Length(Decimal(value), "in")


def cm(value: str) -> Length:
    return Length(Decimal(value), "cm")


def first(thing: str) -> Reference:
    return THINGS[thing].references[0]


ENDS = [
    (t.key, place, r)
    for t in THINGS.values()
    for place, r in enumerate(t.references)
    if not r.slope and r.more_than is None
]


@pytest.mark.parametrize(
    "reference", [r for _, _, r in ENDS], ids=[f"{k}-{p}" for k, p, _ in ENDS]
)
def test_ends_belong_to_the_interval_and_a_hair_beyond_does_not(
    reference: Reference,
) -> None:
    low, high = reference.at_least, reference.at_most
    if low is not None:
        assert compare(Length(low, "in"), reference).verdict == "within"
        assert compare(Length(low - HAIR, "in"), reference).verdict == "below"
        up = "within" if low != high else "above"
        assert compare(Length(low + HAIR, "in"), reference).verdict == up
    if high is not None:
        assert compare(Length(high, "in"), reference).verdict == "within"
        assert compare(Length(high + HAIR, "in"), reference).verdict == "above"
        down = "within" if low != high else "below"
        assert compare(Length(high - HAIR, "in"), reference).verdict == down


@pytest.mark.parametrize(
    ("length", "verdict", "says"),
    [
        (inches("17"), "within", "Within."),
        (inches("16.5"), "below", "0.5 in (1.3 cm) below."),
        (inches("20"), "above", "1 in (2.5 cm) above."),
        (cm("43.1"), "below", "0.1 cm (0.03 in) below."),  # 43.18 cm are 17 in
        (cm("43.2"), "within", "Within."),
        (cm("43"), "below", "0.2 cm (0.07 in) below."),  # printed 430 mm
        (cm("48.2"), "within", "Within."),  # 48.26 cm are 19 in
        (cm("48.3"), "above", "0.04 cm (0.02 in) above."),
    ],
)
def test_toilet_seat_604_4(length: Length, verdict: str, says: str) -> None:
    found = compare(length, first("toilet_seat"))

    assert (found.verdict, found.says) == (verdict, says)


def test_handrails_are_asked_for_above_six_inches_405_8() -> None:
    rails = THINGS["ramp_rise"].references[1]

    said = [compare(inches(v), rails).says for v in ("5.9", "6", "6.1", "7")]
    assert said == [
        "Handrails not asked for.", "Handrails not asked for.",
        "Handrails asked for.", "Handrails asked for.",
    ]  # fmt: skip


def test_a_condition_is_said_before_its_verdict() -> None:
    found = compare(inches("34"), THINGS["doorway"].references[1])

    assert found.says == (
        "Where the opening is more than 24 in deep: 2 in (5.1 cm) below."
    )


def test_citation_says_whose_which_and_that_it_is_no_law() -> None:
    assert cited(first("toilet_seat")) == (
        "Reference for accessible public places, section 604.4: 17 to 19 in; "
        "not law for a private home."
    )
    assert "from memory, unconfirmed" in cited(first("bench_seat"))
    assert "section 604.5.2 (number from memory)" in cited(first("rear_bar_length"))


@given(
    tenths=st.integers(1, 4000),
    reference=st.sampled_from([r for _, _, r in ENDS]),
)
def test_shown_inches_never_deny_the_verdict(tenths: int, reference: Reference) -> None:
    """Whatever was measured in cm, the inches printed lie on the side that is said."""
    length = cm(f"{tenths // 10}.{tenths % 10}")
    shown = Length(Decimal(length.other.removesuffix(" in")), "in")

    assert compare(shown, reference).verdict == compare(length, reference).verdict


@given(tenths=st.integers(1, 4000), reference=st.sampled_from([r for _, _, r in ENDS]))
def test_outside_is_never_by_nothing(tenths: int, reference: Reference) -> None:
    found = compare(cm(f"{tenths // 10}.{tenths % 10}"), reference)

    assert (found.verdict == "within") == (found.by == 0)
    said = Decimal(amount_words(found.by, "cm").split()[0])
    assert (said == 0) == (found.by == 0)


@pytest.mark.parametrize(
    ("text", "unit", "value", "kept"),
    [
        ("17", "in", "17", "in"),
        ("17.5", "in", "17.5", "in"),
        ("17 1/2", "in", "17.5", "in"),
        ("17-3/8", "in", "17.375", "in"),
        ("3/4", "in", "0.75", "in"),
        ("17 1/16in", "cm", "17.0625", "in"),
        ("43", "cm", "43", "cm"),
        ("43.2 cm", "in", "43.2", "cm"),
    ],
)
def test_length_is_read_as_typed(text: str, unit: str, value: str, kept: str) -> None:
    assert parse_length(text, unit, "size") == Length(Decimal(value), kept)


@pytest.mark.parametrize(
    ("text", "unit", "kind", "says"),
    [
        ("", "in", "seat", "Type what the tape says"),
        ("17,5", "in", "seat", "a point, not a comma"),
        ("-3", "in", "edge", "no length like"),
        ("17 5/4", "in", "seat", "no length like"),
        ("1/3", "in", "edge", "no length like"),
        ("high", "in", "seat", "no length like"),
        ("17 1/4", "cm", "seat", "one decimal is the most in cm"),
        ("43.25", "cm", "seat", "one decimal is the most in cm"),
        ("17", "ft", "seat", "Choose inches or centimetres"),
        ("430", "cm", "seat", "430 cm cannot be right here: from 4 in (10.2 cm)"),
        ("3.9", "in", "seat", "cannot be right here"),
        ("48.1", "in", "seat", "cannot be right here"),
        ("12.1", "in", "edge", "cannot be right here"),
    ],
)
def test_what_is_no_length_is_named(text: str, unit: str, kind: str, says: str) -> None:
    with pytest.raises(BadNumber) as refusal:
        parse_length(text, unit, kind)  # type: ignore[arg-type]
    assert says in str(refusal.value)


def test_nothing_of_a_threshold_is_a_length() -> None:
    assert parse_length("0", "in", "edge") == inches("0")


@pytest.mark.parametrize(
    ("value", "words"),
    [("17", "17"), ("0.5", "1/2"), ("1.25", "1 1/4"), ("0.375", "3/8"), ("0.3", "0.3")],
)
def test_inches_are_said_as_a_tape_is_marked(value: str, words: str) -> None:
    assert inch_words(Decimal(value)) == words


class TestRamp:
    """405.2, 405.6 to 405.8; run = 12 x rise."""

    @pytest.mark.parametrize(
        ("rise", "run", "runs", "total", "rails"),
        [
            ("3", 36, 1, 36, False),
            ("6", 72, 1, 72, False),
            ("6.25", 75, 1, 75, True),
            ("7", 84, 1, 84, True),
            ("24", 288, 1, 288, True),
            ("30", 360, 1, 360, True),
            ("30.25", 363, 2, 423, True),
            ("31", 372, 2, 432, True),
            ("60", 720, 2, 780, True),
            ("60.25", 723, 3, 843, True),
        ],
    )
    def test_from_its_rise(
        self, rise: str, run: int, runs: int, total: int, rails: bool
    ) -> None:
        ramp = ramp_for(inches(rise))

        assert (ramp.run, ramp.total) == (Fraction(run), Fraction(total))
        assert (ramp.runs, ramp.landings, ramp.rails) == (runs, runs - 1, rails)

    def test_centimetres_are_exact(self) -> None:
        assert ramp_for(cm("76.2")).runs == 1  # 30 in
        assert ramp_for(cm("76.3")).runs == 2

    def test_words(self) -> None:
        assert ramp_words(ramp_for(inches("7")), "in") == (
            "84 in (213.4 cm, 7 ft) of slope at 1:12, in one run. Handrails asked for."
        )
        assert ramp_words(ramp_for(inches("60")), "in") == (
            "720 in (1828.8 cm, 60 ft) of slope at 1:12, in 2 runs with a landing of "
            "60 in (152.4 cm, 5 ft) between: 780 in (1981.2 cm, 65 ft) with the "
            "landings. Handrails asked for."
        )

    @pytest.mark.parametrize(
        ("rise", "run", "meets", "starts"),
        [
            ("7", "84", 12, "1:12, not steeper"),
            ("7", "112", 12, "1:16, not steeper"),
            ("7", "83.99", 0, "1:11.999, steeper than 1:12, and than"),
            ("6", "60", 10, "1:10, steeper than 1:12; at an existing"),
            ("6.25", "62.5", 0, "1:10, steeper than 1:12, and than"),
            ("6", "59", 0, "1:9.8, steeper"),
            ("3", "30", 10, "1:10, steeper than 1:12; at an existing"),
            ("3", "24", 8, "1:8, steeper than 1:12; at an existing"),
            ("3.25", "26", 0, "1:8, steeper than 1:12, and than"),
            ("3", "23", 0, "1:7.7, steeper"),
        ],
    )
    def test_slope_of_one_that_is_there(
        self, rise: str, run: str, meets: int, starts: str
    ) -> None:
        slope = slope_of(inches(rise), inches(run))

        assert slope.meets == meets
        assert slope_words(slope).startswith(starts)


class TestSeat:
    """1.2 times floor to knee fold, from memory: a starting point."""

    @pytest.mark.parametrize(
        ("leg", "says"),
        [
            (cm("40"), "48 cm (18.9 in)"),
            (cm("43"), "51.6 cm (20.3 in)"),
            (inches("16"), "19.2 in (48.8 cm)"),
        ],
    )
    def test_in_shoes(self, leg: Length, says: str) -> None:
        assert start_words(Leg(leg, "on")) == says

    def test_barefoot_gets_two_to_three_cm_for_shoes(self) -> None:
        low, high = Leg(cm("40"), "off").start

        assert (low, high) == (Fraction(504, 10), Fraction(516, 10))

    def test_seat_beside_the_person(self) -> None:
        leg = Leg(inches("16"), "on")

        assert own_words(inches("17"), leg) == (
            "2.2 in (5.6 cm) below this person's starting point, 19.2 in (48.8 cm)",
            "1 in (2.5 cm) above their knee fold",
        )
        assert own_words(inches("19.2"), leg)[0].startswith("at this person's")
        assert own_words(inches("16"), leg)[1] == "at their knee fold"
        assert own_words(cm("51"), Leg(cm("40"), "off"))[0].startswith("within this")

    @pytest.mark.parametrize(
        ("value", "says"),
        [
            ("33.5", "Lower than 99 of 100"),
            ("33.6", "Between percentile 1 and 5"),
            ("38.7", "Between percentile 50 and 75"),
            ("44.4", "Between percentile 95 and 99"),
            ("44.5", "Higher than 99 of 100"),
        ],
    )
    def test_place_in_the_sample_is_a_check_of_the_tape(
        self, value: str, says: str
    ) -> None:
        (said,) = likely(Leg(cm(value), "on"), "female", None, LEGS)

        assert said.startswith(says)
        assert "1986 fit women of 17 to 58, barefoot" in said

    def test_height_says_what_to_expect(self) -> None:
        _, expected = likely(Leg(cm("43"), "on"), "male", Fraction(175), LEGS)

        # 0.3056 x 175 - 10.696 = 42.784
        assert expected.startswith(
            "From this person's height one would expect about 42.8 cm barefoot"
        )

    def test_unknown_sex_is_checked_against_nobody(self) -> None:
        assert likely(Leg(cm("40"), "on"), "", Fraction(170), LEGS) == ()
