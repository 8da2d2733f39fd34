"""What may stand on a home sheet, and what it says of the strip."""

from dataclasses import replace

import pytest

from app.catalogue.load import catalogue
from app.clinical.activity import Activity, HomeWords
from app.clinical.home_sheet import (
    CALL_NOW,
    CALL_US,
    EVIDENCE,
    NO_STRIP,
    OR_WANT_TO,
    STRIP,
    against,
    strip_at_home,
    strip_words,
)
from app.clinical.vocabulary import HOWS

ACTIVITIES = catalogue().activities


def activity(home: str = "Sit tall.", **changed: object) -> Activity:
    """An invented activity a helper may lead; nothing stands against it."""
    words = HomeWords("Sit tall", (home,))
    plain = replace(ACTIVITIES["S01"], must_not=(), caution=(), holds_strip=False)
    return replace(plain, home=words, **changed)  # type: ignore[arg-type]


def test_helper_may_lead_it_when_nothing_is_in_force() -> None:
    assert against(activity(), ()) == ()


@pytest.mark.parametrize(
    ("who", "said"),
    [
        ("therapist_only", "With a therapist only."),
        ("not_applicable", "Led by the therapist."),
    ],
)
def test_what_needs_a_therapist_never_goes_home(who: str, said: str) -> None:
    assert against(activity(unsupervised=who, home=""), ()) == (said,)


def test_order_in_force_keeps_it_back_by_name() -> None:
    at_rest = activity(must_not=("medical_hold", "nwb_le"))

    assert against(at_rest, ["nwb_le"]) == ("Order in force: Leg: non-weight-bearing.",)


def test_risk_keeps_it_back_for_everybody() -> None:
    standing = activity(must_not=("high_fall_standing",))

    assert against(standing, ["high_fall_standing"]) == (
        "Needs more than light help to stay standing: only with a therapist.",
    )


def test_caution_keeps_nothing_back() -> None:
    assert against(activity(caution=("oxygen",)), ["oxygen"]) == ()


@pytest.mark.parametrize("tag", ["ligature_risk", "entanglement"])
def test_no_strip_stays_where_it_could_hurt(tag: str) -> None:
    with_strip = activity("Your helper lays the strip on the table.")
    with_tape = activity("A line of tape is stuck flat on the floor.")

    assert [len(against(a, [tag])) for a in (with_strip, with_tape)] == [1, 0]
    assert against(activity(holds_strip=True), [tag])


def test_reason_is_said_once() -> None:
    held = activity("Hold the strip.", holds_strip=True, must_not=("ligature_risk",))

    assert against(held, ["ligature_risk"]) == ("Order in force: Risk of self-harm.",)


def test_every_shipped_one_that_the_person_holds_stays_back_under_self_harm() -> None:
    at_home = [a for a in ACTIVITIES.values() if a.home]
    named = [a for a in at_home if strip_at_home(a)]

    assert {"C01", "C02", "U03"} <= {a.id for a in named} < {a.id for a in at_home}
    assert all(against(a, ["ligature_risk"]) for a in named)
    assert all(against(a, ["entanglement"]) for a in named)


def test_sheet_says_of_the_strip_what_holds_here() -> None:
    with_tape, without = activity("Stick the tape flat."), activity()

    assert strip_words([without, with_tape], ()) == STRIP
    assert strip_words([with_tape], ["entanglement"]) == NO_STRIP
    assert strip_words([without], ()) == ""


@pytest.mark.parametrize("never", ["round a neck", "tie it", "after each use"])
def test_both_cautions_say_what_never(never: str) -> None:
    assert never in STRIP
    assert never in NO_STRIP


@pytest.mark.parametrize(
    "sign",
    ["chest pain", "breathe", "faint", "dizzy", "weak", "face", "speech", "mixed up",
     "sharp pain", "knee", "fall", "bleeding", "wound", "want to stop"],
)  # fmt: skip
def test_every_stop_sign_is_said_in_plain_words(sign: str) -> None:
    assert sign in " ".join((*CALL_NOW[1], *CALL_US[1], OR_WANT_TO))


def test_figures_say_how_they_are_known() -> None:
    assert [fact.how for fact in EVIDENCE] == ["abstract", "abstract"]
    assert all(fact.how in HOWS for fact in EVIDENCE)
    assert "1.74 (95 % CI 1.17 to 2.60, 3 studies)" in EVIDENCE[0].says
    assert "0.63 (0.43 to 0.93, 1 study)" in EVIDENCE[0].says
