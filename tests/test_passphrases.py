"""What may be a passphrase or a PIN."""

import random
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from app.guessing import why_not
from app.passphrases import SHORTEST, common, why_not_pin

ABOUT = ("Ward three", "ward3")


@pytest.mark.parametrize(
    "text",
    [
        "four tired horses rest",
        "żółte łódki płyną nocą",
        "x7#Qp!m2Vb9$Lr4T",
        "ward three has eleven windows",
        "a" * 3 + "bridge over grey water",
        "w" + "ö" * 2 + "rter sind viele da" * 13,
        "8361 9204 7155 3826",
        "🐎🌊🪴🎻🧭🚲🥨🌋🪁🦉🍋🚪🧊🎡🐚",
        "!?;,:_%&/()=*#'-",
        "चार थके घोड़े आराम करते हैं",
    ],
)
def test_several_words_will_do(text: str) -> None:
    assert why_not(text, ABOUT) == ""


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "15 letters or more"),
        ("fourteen chars", "15 letters or more"),
        ("x" * 257, "256 letters at most"),
        ("aaaaaaaaaaaaaaaaaaaa", "repeats itself"),
        ("ab ab ab ab ab ab ab", "repeats itself"),
        ("butterfly Butterfly", "repeats itself"),
        ("🐎🌊🐎🌊🐎🌊🐎🌊🐎🌊🐎🌊🐎🌊🐎🌊", "repeats itself"),
        ("abcdefghijklmnopqrst", "runs along the keys"),
        ("qwertyuiopasdfghjkl", "runs along the keys"),
        ("98765432109876543210", "runs along the keys"),
        ("Correct Horse Battery Staple!", "Many people choose"),
        ("PASSWORD password PASSWORD", "Many people choose"),
        ("Ward three Ward three", "your name or a word of this place"),
        ("password tapeline 2026", "your name or a word of this place"),
        ("monkeydragon2024", "would soon be guessed"),
        ("summer summer winter", "would soon be guessed"),
        ("m@nchesterun1ted1", "would soon be guessed"),
    ],
)
def test_what_others_would_guess_is_refused_in_words(text: str, says: str) -> None:
    assert says in why_not(text, ABOUT)


def test_common_passwords_and_what_is_made_of_them_are_refused() -> None:
    """OWASP ASVS 5.0.0, 6.2.4: the 3,000 commonest that are long enough, at least.

    Hardly any common one has 15 letters, so each is also made as long as people do:
    twice, with a year, with digits behind it. The list is zxcvbn's, of 30,000.
    """
    from zxcvbn.frequency_lists import FREQUENCY_LISTS

    listed = FREQUENCY_LISTS["passwords"]
    long = [word for word in listed if len(word) >= SHORTEST]
    drawn = random.Random(3000).sample(listed[:3000], 60)
    made = [
        longer
        for word in drawn
        for longer in (word * 3, f"{word}{word}2024", f"{word}123456789")
        if len(longer) >= SHORTEST
    ]

    assert len(long) > 20
    assert len(made) > 120
    assert [text for text in (*long, *made) if not why_not(text)] == []


def test_what_looks_for_guesses_stays_in_memory_for_nobody() -> None:
    assert why_not("four tired horses rest") == ""
    assert not [name for name in sys.modules if name.startswith("zxcvbn")]


def test_many_choose_at_once() -> None:
    """What one has let go another may just be asking for."""
    with ThreadPoolExecutor(8) as threads:
        found = list(threads.map(why_not, ["four tired horses rest"] * 24))

    assert set(found) == {""}


def test_same_letters_typed_differently_count_alike() -> None:
    """An accent may be a letter of its own or part of one: NFKC makes them one."""
    apart, together = "e\u0301" * 8, "\u00e9" * 8

    assert why_not(apart) == why_not(together)
    assert "15 letters" in why_not(apart)


def test_no_kind_of_letter_is_demanded() -> None:
    assert why_not("only small letters and blanks") == ""


def test_block_list_is_there_and_long_enough_to_matter() -> None:
    assert "correcthorsebatterystaple" in common()
    assert len(common()) > 80


@pytest.mark.parametrize("pin", ["011290", "122501", "900215"])
def test_a_short_date_is_refused(pin: str) -> None:
    """Day, month and year; month, day and year; year, month and day."""
    assert "easy to guess" in why_not_pin(pin)


@pytest.mark.parametrize("pin", ["739154", "264680", "5829371640"])
def test_pin_will_do(pin: str) -> None:
    assert why_not_pin(pin) == ""


@pytest.mark.parametrize(
    "pin",
    ["", "12345", "1234567890123", "12345a", "123456", "654321", "111111", "121212",
     "112211", "198412", "19840309", "09031984", "٣٤٥٦٧٨"],
)  # fmt: skip
def test_easy_pin_is_refused(pin: str) -> None:
    assert why_not_pin(pin) != ""
