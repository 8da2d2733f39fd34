"""What in a free text is asked about, after the kinds of 45 CFR 164.514(b)(2)."""

import pytest

from app.identifiers import looks_like, warning


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("Mrs Example came late", ("a name",)),
        ("her daughter Anna helps", ("a name",)),
        ("Example, Jane", ("a name",)),
        ("fell on 12/03/2026", ("a date",)),
        ("since 2026-03-12", ("a date",)),
        ("fell on 3 March", ("a date",)),
        ("call 0664 123 45 67", ("a telephone number",)),
        ("write to a.b@example.org", ("an e-mail address",)),
        ("see www.example.org", ("a web address",)),
        ("chart 1234567", ("a long number",)),
        ("Room 12B, bed 2", ("a room",)),
    ],
)
def test_what_could_tell_who_it_is_is_noticed(
    text: str, kinds: tuple[str, ...]
) -> None:
    assert looks_like(text) == kinds


@pytest.mark.parametrize(
    "text",
    [
        "", "Amber Heron", "daughter helps in the evening", "two steps at the door",
        "needs a 17 in chair", "walks 150 m with a frame", "wants to bake again",
        "blood pressure 120/80", "bed low, bell in reach",
    ],
)  # fmt: skip
def test_plain_words_are_left_alone(text: str) -> None:
    assert looks_like(text) == ()


def test_warning_names_the_fields_and_says_it_was_saved() -> None:
    told = warning({"the note": "room 12", "the label": "Amber Heron"})

    assert "the note (a room)" in told
    assert "the label" not in told
    assert "saved as you typed it" in told
    assert warning({"the note": "fine"}) == ""
