"""The tape picture: marks at true places, words that never cover each other."""

from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.web.tape import Band, Notch, Pin, TapeView, small_tape, tape
from app.web.tape.marks import LETTER_EM, PHONE_EM, Label

SIX, DAY = Decimal(6), Decimal(24)


def five_times(today: str | None = "16.2", **marks: object) -> TapeView:
    """A tape for a timed test on its usual stretch of 6 to 24 s."""
    given_ = {"low": SIX, "high": DAY, "unit": "s", "better": "lower", "label": "a"}
    value = None if today is None else Decimal(today)
    return tape(today=value, **given_, **marks)  # type: ignore[arg-type]


def cutoff(value: str, words: str = "repeat falls", crossed: bool = True) -> Notch:
    return Notch(Decimal(value), words, "cutoff", crossed)


def pins(*values: str) -> list[Pin]:
    return [Pin(Decimal(v), f"{day} Nov") for day, v in enumerate(values, start=1)]


def numerals(view: TapeView) -> dict[str, float]:
    return {tick.numeral: tick.x for tick in view.ticks if tick.numeral}


def span(label: Label) -> tuple[float, float]:
    """What a label covers across, by the same letter width the layout assumes."""
    letters = len(f"{label.value} {label.words}".strip())
    width = letters * LETTER_EM * 100 / PHONE_EM
    left = {"start": 0.0, "middle": width / 2, "end": width}[label.anchor]
    return label.x - left, label.x - left + width


def overlaps(one: Label, other: Label) -> bool:
    (a, b), (c, d) = span(one), span(other)
    return one.y == other.y and a < d and c < b


def crosses(line: Label, text: Label) -> bool:
    """The line down to a deeper label runs through a higher label's words."""
    left, right = span(text)
    return line.line_y is not None and line.y > text.y and left < line.notch_x < right


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        ("6", "24", ["5", "10", "15", "20", "25"]),
        ("0", "16", ["0", "5", "10", "15", "20"]),
        ("0", "1.2", ["0", "0.2", "0.4", "0.6", "0.8", "1", "1.2"]),
        ("0", "300", ["0", "50", "100", "150", "200", "250", "300"]),
        ("17.2", "17.9", ["17.2", "17.4", "17.6", "17.8", "18"]),
    ],
)
def test_numerals_step_by_one_two_or_five(
    low: str, high: str, expected: list[str]
) -> None:
    view = tape(
        low=Decimal(low), high=Decimal(high), unit="s", better="lower", today=None,
        label="a",
    )  # fmt: skip

    assert list(numerals(view)) == expected


def test_a_mark_stands_at_its_own_numeral() -> None:
    view = five_times("10.0", notches=[cutoff("15"), cutoff("20")])

    at = numerals(view)
    assert [mark.x for mark in view.marks] == [at["15"], at["20"]]
    assert view.flag is not None
    assert at["5"] < view.flag.x < at["15"]


def test_the_scale_grows_for_a_mark_just_outside() -> None:
    view = five_times("28.0")

    assert view.tears == ()
    assert view.flag is not None
    assert numerals(view)["25"] < view.flag.x < numerals(view)["30"]


def test_the_scale_does_not_start_below_zero() -> None:
    view = tape(
        low=Decimal(0), high=Decimal(16), unit="in", better="higher",
        today=Decimal(0), label="a",
    )  # fmt: skip

    assert view.tears == ()
    assert min(float(n) for n in numerals(view)) >= 0


def test_a_far_score_breaks_the_tape_and_says_its_value() -> None:
    view = five_times("61.4", notches=[cutoff("15")])

    assert view.flag is not None
    assert view.flag.words == "61.4 s →"
    assert len(view.tears) == 1
    assert numerals(view)["25"] < view.tears[0] < view.flag.x
    assert "61" not in "".join(numerals(view))


def test_a_score_off_the_low_end_points_left() -> None:
    view = tape(
        low=Decimal(60), high=Decimal(80), unit="cm", better="higher",
        today=Decimal(12), label="a",
    )  # fmt: skip

    assert view.flag is not None
    assert view.flag.words == "← 12 cm"
    assert view.flag.x < view.tears[0] < numerals(view)["60"]


def test_an_earlier_score_off_the_end_says_its_value() -> None:
    view = five_times(earlier=pins("75"))

    assert [text.words for text in view.dates] == ["1 Nov 75 s"]
    assert view.pins[0].x > view.tears[0]


def test_no_number_today_flies_no_flag() -> None:
    view = five_times(None, earlier=pins("21.4"))

    assert view.flag is None
    assert [pin.shape for pin in view.pins] == ["pin"]
    assert view.height < five_times("16.2", earlier=pins("21.4")).height


def test_a_numeral_under_the_pole_is_left_out() -> None:
    view = five_times("15.0")

    assert "15" not in numerals(view)
    assert sum(tick.long for tick in view.ticks) == 5


def test_words_are_said_where_they_fit() -> None:
    average = Notch(Decimal("12.6"), "average 70-79", "average")
    view = five_times(notches=[cutoff("15"), average])

    assert [label.words for label in view.labels] == ["repeat falls", "average 70-79"]
    assert not view.key_needed


@pytest.mark.parametrize(
    "values",
    [("15", "15"), ("15", "15.3"), ("15", "15.4", "12", "14.2"), ("6", "24", "23.5")],
    ids=["same place", "nearly", "four, two of them together", "at both ends"],
)
def test_colliding_cutoffs_never_cover_each_other(values: tuple[str, ...]) -> None:
    view = five_times(notches=[cutoff(v, "recurrent falls in stroke") for v in values])

    assert len(view.marks) == len(values)
    shown = sum(1 + label.more for label in view.labels)
    assert shown == len(values)
    assert not any(overlaps(a, b) for a, b in combinations(view.labels, 2))
    assert not any(crosses(a, b) for a in view.labels for b in view.labels)


def test_the_first_notch_keeps_its_words_longest() -> None:
    notches = [cutoff("15", "repeat falls")]
    notches += [cutoff(v, "some far longer words indeed") for v in ("14", "15.5", "16")]
    view = five_times(notches=notches)

    assert view.labels[0].words == "repeat falls"
    assert view.key_needed


def test_labels_without_room_are_counted_and_all_in_the_key() -> None:
    notches = [cutoff(f"15.0{n}", f"limit {n}") for n in range(7)]
    view = five_times(notches=notches)

    assert sum(label.more for label in view.labels) == 7 - len(view.labels) > 0
    assert view.key_needed
    assert [line.words for line in view.key] == [
        f"15.0{n} s: limit {n}, crossed" for n in range(7)
    ]


def test_a_label_wider_than_the_tape_goes_to_the_key() -> None:
    view = five_times(notches=[cutoff("15", "words " * 12)])

    assert [(label.value, label.words) for label in view.labels] == [("15 s", "")]
    assert view.key_needed


@given(
    st.lists(
        st.tuples(
            st.decimals(0, 60, places=1),
            st.text("abcdef ", min_size=1, max_size=30),
        ),
        max_size=5,
    ),
    st.decimals(0, 90, places=1),
)
def test_any_notches_keep_apart(
    notches: list[tuple[Decimal, str]], today: Decimal
) -> None:
    view = five_times(
        str(today), notches=[Notch(v, w.strip() or "x", "cutoff") for v, w in notches]
    )

    assert sum(1 + label.more for label in view.labels) == len(notches)
    assert not any(overlaps(a, b) for a, b in combinations(view.labels, 2))
    assert not any(crosses(a, b) for a in view.labels for b in view.labels)
    assert all(0 <= mark.x <= 100 for mark in view.marks)


def test_shape_says_kind_and_side() -> None:
    average = Notch(Decimal(13), "average", "average", crossed=True)
    view = five_times(notches=[cutoff("15"), cutoff("20", crossed=False), average])

    assert [mark.shape for mark in view.marks] == ["crossed", "cutoff", "average"]
    assert [line.words for line in view.key] == [
        "15 s: repeat falls, crossed",
        "20 s: repeat falls",
        "13 s: average",
    ]


def test_spread_covers_its_two_ends() -> None:
    view = five_times(spread=Band(Decimal(10), Decimal(15), "healthy 70-79"))

    assert view.spread is not None
    at = numerals(view)
    assert view.spread.x == at["10"]
    assert view.spread.x + view.spread.width == pytest.approx(at["15"])
    assert view.key[0].words == "10 to 15 s: healthy 70-79"


def test_close_pins_fan_upwards() -> None:
    view = five_times(earlier=pins("20.0", "20.1", "20.2"))

    assert len({pin.y for pin in view.pins}) == 3
    assert all(pin.y < 0 for pin in view.pins)
    newest = view.pins[0]
    assert newest.y == max(pin.y for pin in view.pins)


def test_far_pins_share_one_row_and_only_the_ends_are_dated() -> None:
    view = five_times(earlier=pins("24", "21", "18"))

    assert len({pin.y for pin in view.pins}) == 1
    assert [text.words for text in view.dates] in (
        ["1 Nov", "3 Nov"],
        ["1 Nov – 3 Nov"],
    )


@pytest.mark.parametrize("score", [f"{n}.0" for n in range(8, 30)])
@pytest.mark.parametrize("off", ["-0.3", "0", "0.3", "2"])
def test_long_date_never_lies_under_the_pole(score: str, off: str) -> None:
    started = Pin(Decimal(score) + Decimal(off), "start, 12 Nov")
    view = five_times(earlier=[started], today=score)
    assert view.flag
    for text in view.dates:
        wide = len(text.words) * LETTER_EM * 100 / PHONE_EM
        shift = {"start": 0, "middle": wide / 2, "end": wide}[text.anchor]
        left = text.x - shift
        assert not left < view.flag.x < left + wide, text


def test_very_many_pins_are_counted() -> None:
    view = five_times(earlier=pins(*["20"] * 30))

    assert len(view.pins) == 3
    assert [text.words for text in view.dates] == ["1 Nov – 30 Nov, 30×"]
    assert view.key_needed


def test_scores_of_another_setup_look_different() -> None:
    other = Pin(Decimal(20), "2 Nov", comparable=False)
    view = five_times(earlier=[*pins("24"), other])

    assert {pin.shape for pin in view.pins} == {"pin", "other"}
    assert view.key[-1].words == "earlier, not comparable: 20 s on 2 Nov"


def test_error_bracket_has_no_cap_beyond_the_scale() -> None:
    inside = five_times(error=(Decimal(14), Decimal(19)))
    beyond = five_times(error=(Decimal(14), Decimal(90)))

    assert inside.bracket is not None
    assert (inside.bracket.low_cap, inside.bracket.high_cap) == (True, True)
    assert beyond.bracket is not None
    assert (beyond.bracket.low_cap, beyond.bracket.high_cap) == (True, False)


@pytest.mark.parametrize(
    ("unit", "better", "ends"),
    [
        ("s", "lower", ("faster", "slower")),
        ("s", "higher", ("shorter", "longer")),
        ("in", "higher", ("shorter", "farther")),
        ("m/s", "higher", ("slower", "faster")),
        ("stands", "higher", ("fewer", "more")),
    ],
)
def test_the_ends_say_what_they_mean(
    unit: str, better: str, ends: tuple[str, str]
) -> None:
    view = tape(
        low=SIX, high=DAY, unit=unit, better=better, today=None, label="a"  # type: ignore[arg-type]
    )  # fmt: skip

    assert view.ends == ends


@pytest.mark.parametrize("today", ["5.0", "15.0", "24.9", "61.4"])
def test_the_flag_stays_on_a_narrow_tape(today: str) -> None:
    """At 200 % text a phone's tape is 10 em wide; half an em may stand out."""
    flag = five_times(today).flag

    assert flag is not None
    left = flag.x / 10 + flag.left
    assert left >= -0.5
    assert left + flag.width <= 10.5


def test_a_tape_needs_a_length() -> None:
    with pytest.raises(ValueError, match="no length"):
        tape(low=SIX, high=SIX, unit="s", better="lower", today=None, label="a")


def test_small_tape_shows_the_same_places() -> None:
    small = small_tape(
        low=SIX, high=DAY, today=Decimal("16.2"), cutoff=Decimal(15),
        earlier=[Decimal(20)], spread=Band(Decimal(10), Decimal(14), ""),
    )  # fmt: skip
    large = five_times(notches=[cutoff("15")])

    assert large.flag is not None
    assert (small.today, small.cutoff) == (large.flag.x, large.marks[0].x)
    assert len(small.ticks) == 5


def test_small_tape_breaks_for_a_far_score() -> None:
    small = small_tape(low=SIX, high=DAY, today=Decimal(61))

    assert small.today is not None
    assert [small.today > tear for tear in small.tears] == [True]


def test_count_without_a_unit_leaves_no_gap() -> None:
    view = tape(
        low=Decimal(0), high=DAY, unit="", better="higher", today=Decimal(12),
        notches=[Notch(Decimal(10), "place in a sample", "cutoff", False)], label="a",
    )  # fmt: skip

    assert [line.words for line in view.key] == ["10: place in a sample"]
    assert view.flag is not None
    assert view.flag.words == "12"


@pytest.mark.parametrize(
    ("unit", "ends"),
    [("mmHg", ("smaller fall", "larger fall")), ("W/kg", ("lower", "higher")),
     ("ft/s", ("slower", "faster")), ("", ("fewer", "more"))],
)  # fmt: skip
def test_the_ends_are_named_for_the_kind_of_score(
    unit: str, ends: tuple[str, str]
) -> None:
    view = tape(
        low=SIX, high=DAY, unit=unit, better="higher", today=SIX, label="a",
    )  # fmt: skip

    assert view.ends == ends


def test_a_wide_unit_has_a_wider_flag() -> None:
    wide, plain = (
        tape(low=SIX, high=DAY, unit=u, better="lower", today=SIX, label="a").flag
        for u in ("mmHg", "tick")
    )

    assert wide is not None
    assert plain is not None
    assert wide.width > plain.width
