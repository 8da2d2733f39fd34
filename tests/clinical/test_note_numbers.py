"""Numbers of a text: what is one, which changed, which have no event behind them."""

import pytest

from app.clinical.note_numbers import changed, numbers, numerals, unsupported


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("18.4 s (best of 2)", ("18.4", "2")),
        ("118/70 mmHg, heart rate 84 /min", ("118/70", "84")),
        ("pain 3 of 10, walked 1,200 steps", ("3", "10", "1,200")),
        ("sat 10-12 min, -2.5 cm", ("10", "12", "-2.5")),
        ("times 2, x2, 5xSTS", ("2", "2", "5")),
        (".8 m/s and 0.8 m/s.", (".8", "0.8")),
        ("on 3 June 2026, at 14:05", ("3 June 2026", "14:05")),
        ("June 3 and 2026-06-03", ("June 3", "2026-06-03")),
        ("MDC95 2.3 s; SpO2 94 %; L4-5", ("2.3", "94")),
        ("two helpers", ()),
    ],
)
def test_numerals_are_read_as_written(text: str, found: tuple[str, ...]) -> None:
    assert numbers(text) == found


def test_dates_and_hours_are_told_apart() -> None:
    kinds = [n.kind for n in numerals("3 June, 2:05 pm, 118/70, 12.0")]

    assert kinds == ["date", "hour", "fraction", "number"]


@pytest.mark.parametrize(
    ("made", "text", "gone", "new"),
    [
        ("18.4 s", "18.4 s", (), ()),
        ("12.0 s, 0.8 m/s", "12 s, .8 m/s", (), ()),
        ("18.4 s (18.4 and 19.0)", "18.4 s against 19.0", (), ()),
        ("18.4 s, down 4.1 s", "14.8 s, down 4.1 s", ("18.4",), ("14.8",)),
        ("118/70 mmHg", "118/80 mmHg", ("118/70",), ("118/80",)),
        ("since 3 June 2026", "since 3 June", (), ()),
        ("since 3 June", "since 3 June 2026", (), ()),
        ("on 3 June 2026", "on 3 June 2025", ("3 June 2026",), ("3 June 2025",)),
        ("at 14:05", "at 2:05 pm", (), ()),
        ("at 12:10", "at 12:10 am", ("12:10",), ("12:10 am",)),
        ("4 of 5", "most of them", ("4", "5"), ()),
    ],
)
def test_what_became_of_a_made_number(
    made: str, text: str, gone: tuple[str, ...], new: tuple[str, ...]
) -> None:
    found = changed(made, text)

    assert tuple(c.number for c in found if c.how == "gone") == gone
    assert tuple(c.number for c in found if c.how == "new") == new


@pytest.mark.parametrize(
    ("text", "events", "without"),
    [
        ("pain 3/10", "pain 3 of 10", ()),
        ("pain 4/10", "pain 3 of 10", ("4/10",)),
        ("118/80", "118/70, then 142/80", ("118/80",)),
        ("systolic 118", "118/70 mmHg", ()),
        ("18 s", "18.4 s", ("18",)),
        ("18.4 and 18.4, 7 and 7", "18.4 s", ("7",)),
        ("3 June", "3 June 2026", ()),
        ("4 June", "3 June 2026", ("4 June",)),
        ("2026-06-03", "3 June 2026", ()),
        ("anything at all", "", ()),
    ],
)
def test_number_without_an_event(
    text: str, events: str, without: tuple[str, ...]
) -> None:
    assert unsupported(text, events) == without
