"""A hand-off card: who hears what, in which order, and what goes when time is short."""

from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.clinical.hand_off import (
    AUDIENCES,
    GIVEN_TO,
    MOST_SECONDS,
    PARTS,
    HandOffLine,
    card,
    hand_off,
    spoken_seconds,
)
from app.clinical.hand_off_facts import (
    Fact,
    HandOffFacts,
    InForce,
    Move,
    in_order_of_need,
)
from app.clinical.home_sheet import CALL_NOW
from app.clinical.note import Ref
from app.clinical.visiting import HAND_OFF_TO

FULL = HandOffFacts(
    reason="walks less since a fall",
    moves=(
        Move("transfer_chair", "minimal", 1, "walker", id=1),
        Move("toileting", "moderate", 2, id=2),
        Move("grooming", "independent", 0, id=3),
        Move("stairs", None, not_done="staff", id=4),
    ),
    in_force=(
        InForce("Leg: toe-touch only", "The foot may rest.", True, "review 9 Mar", 7),
        InForce("On oxygen", "Tubing out of the path.", False, "review 9 Mar", 8),
    ),
    stops=(Fact("Stopped for safety: Timed Up and Go: dizzy.", Ref("trial", 5)),),
    outside=(Fact("Systolic 186 mmHg is above the order's limit of 180 mmHg."),),
    symptoms=Fact("They said: pain 4 of 10."),
    left=Fact("Left: bell in reach, bed low."),
    last_up=Fact("Last up at 09:45: Timed Up and Go."),
    scores=(Fact("Timed Up and Go 16.2 s, walker, real gain; 20.4 s on 3 Jun."),),
    doses=(Fact("Step over: 2 x 10 repetitions at height 4 in, contact guard."),),
    cues=(Fact("Cued verbal: toileting."),),
    goals=(Fact("Goal 1: Dress: stand-by, by 30 Mar. On the way."),),
    rooms=(Fact("Bathroom, toilet seat, before: 16 in (40.6 cm)."),),
    sheet=("Sit and stand",),
    shown_back=(Fact("Taught family: guarding with the belt; shown."),),
    help_words=Fact("Say: “nose over toes”."),
)  # fmt: skip


def keys(lines: Iterable[HandOffLine]) -> list[str]:
    return [line.key for line in lines]


@pytest.mark.parametrize(
    ("to", "said"),
    [
        ("nursing", ["moves", "moves-more", "order-7", "risk-8", "stop-1", "outside-1",
                     "symptoms", "left", "up", "taught-1", "before", "worry"]),
        ("therapist", ["moves", "moves-more", "reason", "order-7", "risk-8", "stop-1",
                       "outside-1", "symptoms", "score-1", "dose-1", "cue-1",
                       "not-stairs", "goal-1", "room-1", "left", "next", "split"]),
        ("practitioner", ["moves", "moves-more", "reason", "orders-1", "stop-1",
                          "outside-1", "symptoms", "score-1", "question", "by_when"]),
        ("family", ["never", "safe", "not-stairs", "order-7", "risk-8", "shown-1",
                    "sheet", "words", "stop", "call", "whom"]),
    ],
)  # fmt: skip
def test_each_audience_hears_its_own_lines_in_order(to: str, said: list[str]) -> None:
    assert keys(hand_off(FULL, to)) == said


def test_every_line_says_in_plain_words_what_was_recorded() -> None:
    said = {line.key: line.says for line in hand_off(FULL, "nursing")}

    assert said["moves"] == (
        "Chair transfer: minimal help, one person, walker; toileting: moderate help, "
        "two people."
    )
    assert said["moves-more"] == "Also grooming: independent."
    assert said["order-7"] == "Leg: toe-touch only, review 9 Mar."
    assert said["before"] == ""


def test_family_hears_no_words_of_the_trade() -> None:
    said = {line.key: line.says for line in hand_off(FULL, "family")}

    assert said["never"] == (
        "Never alone: chair transfer, with a little help, walker; toileting, with "
        "help for about half of it, two people."
    )
    assert said["safe"] == "Safe: grooming, alone."
    assert said["not-stairs"] == "Do not try yet: stairs."
    assert all(sign in said["stop"] for sign in CALL_NOW[1])
    assert said["words"] == "Say: “nose over toes”."


def test_family_hears_of_every_task_that_is_not_done_alone_however_long() -> None:
    tasks = ("transfer_bed", "transfer_chair", "transfer_toilet", "walk_bathroom")
    orders = [
        InForce("Leg: toe-touch only", "The foot may rest. " * 20, True, id=n)
        for n in range(3)
    ]
    facts = HandOffFacts(
        moves=tuple(Move(task, "contact", 1) for task in tasks),
        in_force=tuple(orders),
    )
    said = " ".join(line.says for line in card(hand_off(facts, "family")).lines)

    assert "Not alone either: toilet transfer, with a hand on them" in said
    assert "walking to the bathroom" in said


@pytest.mark.parametrize("to", ["nursing", "therapist", "family"])
def test_risk_of_the_next_rise_is_never_cut(to: str) -> None:
    words = "The foot may rest. " * 20
    orders = [InForce(words, words, True, id=n) for n in range(3)]
    drop = InForce("Drops on standing", "Sit a minute first.", False, id=9,
                   tag="ortho_hypo")  # fmt: skip
    skin = InForce("Fragile skin", "Soft belt.", False, id=8, tag="skin_fragile")
    facts = HandOffFacts(in_force=(*orders, skin, drop))

    kept = keys(card(hand_off(facts, to)).lines)
    assert "risk-9" in kept
    assert "risk-8" not in kept


@pytest.mark.parametrize("to", AUDIENCES)
def test_nothing_recorded_is_asked_and_never_made_up(to: str) -> None:
    lines = hand_off(HandOffFacts(), to)

    said = [line for line in lines if line.says]
    assert keys(said) == (["stop", "call"] if to == "family" else [])
    assert all(line.asks for line in lines if not line.says)


def test_lines_name_their_events() -> None:
    refs = {line.key: line.refs for line in hand_off(FULL, "nursing")}

    assert refs["moves"] == (Ref("task", 1), Ref("task", 2))
    assert refs["order-7"] == (Ref("precaution", 7),)
    assert refs["stop-1"] == (Ref("trial", 5),)


def test_others_need_transfers_first() -> None:
    moves = [Move("eating", "independent"), Move("transfer_bed", "minimal", 1)]

    assert [m.task for m in in_order_of_need(moves)] == ["transfer_bed", "eating"]


@pytest.mark.parametrize(
    ("words", "seconds"), [(0, 0), (1, 1), (74, 30), (75, 30), (76, 31)]
)
def test_time_is_that_of_150_words_a_minute(words: int, seconds: int) -> None:
    assert spoken_seconds(["word " * words]) == seconds


def line(key: str, words: int, priority: int) -> HandOffLine:
    return HandOffLine(key, "found", "word " * words, priority)


def test_cut_takes_the_least_urgent_then_the_later_and_stops_in_time() -> None:
    lines = [
        line("a", 40, 0), line("b", 10, 2), line("c", 20, 1), line("d", 20, 2),
        line("e", 5, 3), HandOffLine("f", "ask", asks="What?"),
    ]  # fmt: skip
    made = card(lines)

    assert keys(made.lines) == ["a", "b", "c", "f"]
    assert keys(made.left_out) == ["d", "e"]
    assert made.seconds == 28


def test_safety_is_said_in_full_however_long() -> None:
    made = card([line("a", 60, 0), line("b", 60, 0), line("c", 1, 1)])

    assert keys(made.lines) == ["a", "b"]
    assert made.seconds == 48


@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(0, 4)), max_size=12).map(
        lambda made: [line(str(n), *said) for n, said in enumerate(made)]
    )
)
def test_card_keeps_safety_and_the_time(lines: list[HandOffLine]) -> None:
    made = card(lines)

    assert [one for one in lines if one in made.lines] == list(made.lines)
    assert {*keys(made.lines)} | {*keys(made.left_out)} == {*keys(lines)}
    assert not any(one.is_safety for one in made.left_out)
    assert made.seconds <= MOST_SECONDS or all(
        one.is_safety or not one.says for one in made.lines
    )
    if not made.left_out:
        assert made.lines == tuple(lines)


def test_every_audience_has_its_roles_and_parts() -> None:
    assert GIVEN_TO.keys() == AUDIENCES.keys()
    assert {role for roles in GIVEN_TO.values() for role in roles} == {*HAND_OFF_TO}
    assert {one.part for to in AUDIENCES for one in hand_off(FULL, to)} == {*PARTS}
