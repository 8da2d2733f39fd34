"""Which activities are offered, why, and what each of the others says."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.clinical.activity import LEAST, NEEDS
from app.clinical.choosing import Today
from app.clinical.doing import DoneSet
from app.clinical.lately import Lately, lately
from app.clinical.precautions import PRECAUTIONS
from app.clinical.treating import (
    MET_BY,
    Offer,
    Suggestions,
    matches,
    people_needed,
    suggest,
)
from app.clinical.vocabulary import ABILITIES, ROOM_ITEMS

SHELF = catalogue().activities
STANDS = {"slow_sit_to_stand": "Slow or few stands"}
TURNS = {"turn_unsteady": "Unsteady turns"}
BECAUSE = {"slow_sit_to_stand": "Five stands took 17.2 s on 1 Mar."}
EVERYTHING = Today().kit
FIRST = date(2026, 2, 24)


def suggested(
    deficits: Mapping[str, str] = STANDS,
    today: Today = Today(),
    *tags: str,
    last: Mapping[str, Lately] | None = None,
    favourites: tuple[str, ...] = (),
    may_override: bool = True,
) -> Suggestions:
    return suggest(
        SHELF.values(), deficits, BECAUSE, tags, today, last or {}, favourites,
        may_override=may_override,
    )  # fmt: skip


def ids(offers: tuple[Offer, ...]) -> list[str]:
    return [offer.activity.id for offer in offers]


def of(key: str, found: Suggestions) -> Offer:
    return next(o for o in (*found.offered, *found.hidden) if o.activity.id == key)


def against(key: str, found: Suggestions) -> dict[str, str]:
    return {reason.kind: reason.words for reason in of(key, found).against}


def test_offers_answer_what_was_shown_and_say_how() -> None:
    found = suggested()

    assert {*ids(found.offered)} == {
        key for key, a in SHELF.items() if "slow_sit_to_stand" in a.answers
    }
    assert of("R01", found).why == (
        "answers “Slow or few stands”: Five stands took 17.2 s on 1 Mar.",
    )


def test_nothing_is_lost() -> None:
    found = suggested(STANDS, Today("lies", frozenset(), 5, "total", 1), "nwb_le")

    assert {*ids(found.offered), *ids(found.hidden)} == {*SHELF}
    assert len(found.offered) + len(found.hidden) == len(SHELF)
    assert all(offer.why for offer in found.offered)
    assert all(offer.against for offer in found.hidden)
    assert against("U01", suggested()) == {"unasked": "answers none of what was shown"}


def test_chosen_by_hand_says_so() -> None:
    found = suggested(TURNS)

    assert of("M06", found).why == ("answers “Unsteady turns”, which you chose",)


def test_nothing_shown_offers_nothing_but_favourites_and_what_was_done() -> None:
    last = {"S01": done_lately(running=1)}
    found = suggested({}, favourites=("B01",), last=last)

    assert {*ids(found.offered)} == {"B01", "S01"}
    assert of("B01", found).why == ("a favourite of yours",)
    grade = SHELF["S01"].grade.words(Decimal(2))
    assert of("S01", found).why == (f"done on 24 Feb: go on at {grade}",)


def test_more_deficits_answered_come_first_then_nearer_the_front() -> None:
    two = STANDS | {"unable_rise_without_arms": "Needs arms to rise"}
    order = ids(suggested(two).offered)
    both = [k for k, a in SHELF.items() if {*two} <= {*a.answers}]

    assert {*order[: len(both)]} == {*both}
    places = [
        sum(SHELF[key].answers.index(d) for d in two) for key in order[: len(both)]
    ]
    assert places == sorted(places)


def test_favourite_comes_first_among_equals() -> None:
    front = {k for k, a in SHELF.items() if a.answers[0] == "slow_sit_to_stand"}
    for key in front:
        assert ids(suggested(favourites=(key,)).offered)[0] == key


ORDERS = [t for t, p in PRECAUTIONS.items() if p.kind == "order"]
RISKS = [t for t, p in PRECAUTIONS.items() if p.kind == "risk"]


@pytest.mark.parametrize("tag", ORDERS)
@pytest.mark.parametrize("may_override", [True, False])
def test_order_hides_whatever_it_must_not_meet(tag: str, may_override: bool) -> None:
    every = {d: d for a in SHELF.values() for d in a.answers}
    found = suggested(every, Today(), tag, may_override=may_override)

    assert {*ids(found.hidden)} == {k for k, a in SHELF.items() if tag in a.must_not}
    for offer in found.hidden:
        assert [r.kind for r in offer.against] == ["order"]
        assert PRECAUTIONS[tag].label in offer.against[0].words


@pytest.mark.parametrize("tag", RISKS)
def test_risk_hides_and_says_who_may_go_on(tag: str) -> None:
    every = {d: d for a in SHELF.values() for d in a.answers}
    for may, says in ((True, "You may go on"), (False, "Only a therapist may go on")):
        found = suggested(every, Today(), tag, may_override=may)

        barred = {k for k, a in SHELF.items() if tag in a.must_not}
        assert {*ids(found.hidden)} == barred
        assert all(says in o.against[0].words for o in found.hidden)


def test_words_of_ability_are_those_activities_ask_in() -> None:
    assert dict(ABILITIES) == dict(LEAST)


@pytest.mark.parametrize(
    ("least", "can", "hidden"),
    [
        ("stands_held", "stands_held", False),
        ("stands_held", "sits", True),
        ("sits_held", "sits_held", False),
        ("sits_held", "lies", True),
        ("lies", "lies", False),
        ("walks", "stands", True),
        ("walks", "walks", False),
        ("walks", "", False),
    ],
)
def test_what_the_person_can_do(least: str, can: str, hidden: bool) -> None:
    one = replace(SHELF["R01"], least=least)
    found = suggest([one], {}, {}, (), Today(can), {}, ("R01",), may_override=True)
    words = against("R01", found)

    assert ("ability" in words) == hidden
    if hidden:
        assert (
            words["ability"] == f"for somebody who {LEAST[least]}; today: {LEAST[can]}"
        )


@pytest.mark.parametrize(
    ("level", "hidden"), [("contact", False), ("minimal", True), ("", False)]
)
def test_help_is_that_of_the_position(level: str, hidden: bool) -> None:
    step = replace(SHELF["T01"], help="contact")
    seated = replace(SHELF["S01"], help="contact")
    today = Today("stands", help=level)
    found = suggest(
        [step, seated], {}, {}, (), today, {}, ("T01", "S01"), may_override=True
    )

    assert ("help" in against("T01", found)) == hidden
    assert "help" not in against("S01", found)


@pytest.mark.parametrize(
    ("key", "can", "level", "people"),
    [
        ("T06", "", "", 2),
        ("T01", "walks", "contact", 1),
        ("T01", "walks", "minimal", 2),
        ("M06", "walks", "minimal", 2),
        ("B04", "walks", "minimal", 2),
        ("G03", "walks", "minimal", 2),
        ("R05", "stands_held", "minimal", 2),
        ("B01", "stands_held", "minimal", 1),
        ("R01", "stands_held", "minimal", 1),
        ("R01", "stands_held", "moderate", 2),
        ("R01", "stands_held", "maximal", 2),
        ("S01", "sits", "moderate", 1),
        ("S01", "sits", "maximal", 2),
        ("S01", "stands_held", "moderate", 1),
        ("R01", "", "moderate", 1),
    ],
)
def test_how_many_must_be_there(key: str, can: str, level: str, people: int) -> None:
    needed, why = people_needed(SHELF[key], Today(can, help=level))

    assert needed == people
    assert bool(why) == (people > 1)


def test_too_few_people_hide_it_and_enough_do_not() -> None:
    today = Today("stands_held", help="moderate", people=1)

    assert (
        "moderate help in standing" in against("R01", suggested(today=today))["people"]
    )
    for people in (2, None):
        assert "people" not in against(
            "R01", suggested(today=replace(today, people=people))
        )


def test_every_need_is_met_by_something_a_room_has() -> None:
    assert {*MET_BY} == {*NEEDS}
    assert {item for met in MET_BY.values() for item in met} == {*ROOM_ITEMS}


@pytest.mark.parametrize(
    ("key", "without", "says"),
    [
        ("S01", {"chair"}, None),
        ("S01", {"bed"}, None),
        ("S01", {"chair", "bed"}, "no chair or bed edge"),
        ("S01", {"strip"}, "no strip"),
        ("B01", {"counter", "chair"}, "no counter or chair back"),
        ("S01", {"lamp"}, None),
    ],
)
def test_kit_that_is_not_here(key: str, without: set[str], says: str | None) -> None:
    found = suggested(today=Today(kit=EVERYTHING - without))

    assert against(key, found).get("kit") == says


def test_second_person_is_no_kit() -> None:
    assert "kit" not in against("T06", suggested(today=Today(people=1)))
    assert against("T06", suggested(today=Today(people=1)))["people"]


@pytest.mark.parametrize(("left", "hidden"), [(-1, True), (0, False), (None, False)])
def test_minutes_left(left: int | None, hidden: bool) -> None:
    takes = SHELF["R01"].minutes
    minutes = None if left is None else takes + left
    words = against("R01", suggested(today=Today(minutes=minutes)))

    said = f"takes about {takes} min, {minutes} are left"
    assert words.get("minutes") == (said if hidden else None)


def a_set(key: str, session: int, grade: str, **said: Any) -> DoneSet:
    day = FIRST + timedelta(days=session)
    at = datetime(day.year, day.month, day.day, tzinfo=UTC)
    return DoneSet(
        activity=key, on=day, visit_id=session, at=at, grade=Decimal(grade), **said
    )


def done_lately(running: int, **said: Any) -> Lately:
    made = lately(SHELF, [a_set("S01", 0, "2")])["S01"]
    return replace(made, running=running, **said)


@pytest.mark.parametrize(
    ("running", "progressing", "hidden"),
    [(1, False, False), (2, False, True), (2, True, False), (4, False, True)],
)
def test_same_thing_three_sessions_running(
    running: int, progressing: bool, hidden: bool
) -> None:
    last = {"S01": done_lately(running, progressing=progressing)}
    found = suggested({"short_lateral_reach": "Short reach"}, last=last)

    assert ("lately" in against("S01", found)) == hidden


def test_lately_counts_sessions_in_a_row_and_progress() -> None:
    found = lately(
        SHELF,
        [
            a_set("S01", 1, "2"), a_set("R01", 1, "21"), a_set("B01", 1, "1"),
            a_set("S01", 2, "3"), a_set("R01", 2, "21"),
            a_set("T01", 3, "12", outcome="declined"),
            a_set("S01", 3, "3"), a_set("R01", 3, "22"),
        ],
    )  # fmt: skip

    assert {k: (v.running, v.progressing) for k, v in found.items()} == {
        "S01": (3, True),
        "R01": (3, False),  # a higher seat is easier
        "B01": (0, False),
    }
    assert found["S01"].on == FIRST + timedelta(days=3)


@pytest.mark.parametrize(
    ("key", "typed", "found"),
    [
        ("R01", "sit-to-stand", True),
        ("R01", "LADDER height", True),
        ("R01", "toilet", True),
        ("R01", "few stands", True),
        ("R01", "rising", True),
        ("R01", "r01", True),
        ("R01", "shoelace", False),
        ("R01", "height shoelace", False),
        ("R01", "", True),
    ],
)
def test_search_by_plain_words(key: str, typed: str, found: bool) -> None:
    assert matches(SHELF[key], typed, STANDS) == found


def test_search_knows_other_names() -> None:
    named = replace(SHELF["T01"], other_names=("dial stepping",))

    assert matches(named, "dial", {})
    assert not matches(SHELF["T01"], "dial", {})


def test_stop_is_said_and_never_goes_on() -> None:
    """Also when sets without one came after it on that day."""
    done = [
        DoneSet(
            activity="R01", on=FIRST, visit_id=1, outcome=outcome, grade=Decimal(4),
            at=datetime(2026, 2, 24, 9, minute, tzinfo=UTC), symptoms=felt,
        )
        for minute, outcome, felt in (
            (0, "done", ()), (5, "stopped", ("dizzy",)), (9, "done", ()),
        )
    ]  # fmt: skip
    why = of("R01", suggested(last=lately(SHELF, done))).why
    assert "last time, on 24 Feb, stopped for safety: dizzy" in why[-1]
    assert not any("go on" in said for said in why)
