"""No path leads past an order into a plan, and a risk takes a therapist's reason."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.catalogue.load import catalogue
from app.clinical import session_plan as core
from app.clinical.allowing import permit
from app.clinical.precautions import PRECAUTIONS
from app.clinical.session_plan import Item, Plan, Refused, item_of, standing

SHELF = catalogue().activities
RING, CHAIR, SEATED = SHELF["T01"], SHELF["R01"], SHELF["S01"]
RISK = "dizzy_uncontrolled"


def planned(*ids: str) -> Plan:
    return Plan(tuple(item_of(SHELF[key]) for key in ids))


def names(plan: Plan) -> list[str]:
    return [item.activity.id for item in plan.items]


def added(plan: Plan, key: str, *tags: str, **said: Any) -> Plan:
    allowed = {"may_override": True, **said}
    return core.add(plan, item_of(SHELF[key]), tags, **allowed)


def test_added_at_the_end_at_start_and_usual_dose() -> None:
    plan = added(planned("R01"), "T01")

    assert names(plan) == ["R01", "T01"]
    assert plan.items[1] == Item(RING, Decimal(12), 2, RING.dose.minutes())
    assert plan.minutes == CHAIR.minutes + RING.minutes


def test_added_twice_is_there_once_and_as_it_was() -> None:
    plan = core.with_sets(planned("R01"), "R01", 5, ())

    assert added(plan, "R01") == plan


@pytest.mark.parametrize(
    "tag", [t for t in RING.must_not if PRECAUTIONS[t].kind == "order"]
)
def test_order_refuses_whoever_asks(tag: str) -> None:
    with pytest.raises(Refused, match="Only a changed order lifts this") as no:
        added(Plan(), "T01", tag, reason="steady today")

    assert PRECAUTIONS[tag].label in no.value.sentence
    assert not no.value.needs_reason


def test_risk_asks_a_therapist_for_a_reason() -> None:
    with pytest.raises(Refused, match="Say why you go on") as no:
        added(Plan(), "T01", RISK, reason="  ")
    plan = added(Plan(), "T01", RISK, reason=" settled since noon ")

    assert no.value.needs_reason
    assert plan.items[0].override == "settled since noon"
    assert plan.items[0].against == (RISK,)


def test_risk_is_never_a_students() -> None:
    with pytest.raises(Refused, match="Only a therapist may go on") as no:
        added(Plan(), "T01", RISK, may_override=False, reason="my teacher said so")

    assert not no.value.needs_reason


def test_reason_has_a_longest() -> None:
    assert added(Plan(), "T01", RISK, reason="x" * 300).items
    with pytest.raises(Refused, match="at most 300"):
        added(Plan(), "T01", RISK, reason="x" * 301)


def test_reason_without_a_risk_is_not_kept() -> None:
    assert added(Plan(), "T01", reason="just so").items[0].override == ""


def test_moved_removed_and_stopped_at_the_ends() -> None:
    plan = planned("S01", "R01", "T01")

    assert names(core.move(plan, "T01", -1, ())) == ["S01", "T01", "R01"]
    assert names(core.move(plan, "S01", 1, ())) == ["R01", "S01", "T01"]
    assert core.move(plan, "S01", -1, ()) == core.move(plan, "T01", 1, ()) == plan
    assert core.move(plan, "B01", 1, ()) == plan
    assert names(core.remove(plan, "R01", ())) == ["S01", "T01"]
    assert core.remove(plan, "B01", ()) == plan


@pytest.mark.parametrize(
    ("grade", "fits"),
    [("7.9", False), ("8", True), ("8.5", True), ("19", True), ("19.1", False)],
)
def test_grade_lies_between_easiest_and_hardest(grade: str, fits: bool) -> None:
    plan = planned("T01")
    if fits:
        assert core.with_grade(plan, "T01", Decimal(grade), ()).items[
            0
        ].grade == Decimal(grade)
    else:
        with pytest.raises(Refused, match="From 8 \\(easiest\\) to 19 \\(hardest\\)"):
            core.with_grade(plan, "T01", Decimal(grade), ())


@pytest.mark.parametrize(
    ("sets", "fits"), [(0, False), (1, True), (10, True), (11, False)]
)
def test_sets_set_the_minutes(sets: int, fits: bool) -> None:
    if not fits:
        with pytest.raises(Refused, match="From 1 to 10 sets"):
            core.with_sets(planned("T01"), "T01", sets, ())
        return
    item = core.with_sets(planned("T01"), "T01", sets, ()).items[0]

    assert (item.sets, item.minutes) == (sets, RING.dose.minutes(sets))


def test_copy_comes_after_what_is_planned_and_skips_what_is_there() -> None:
    earlier = planned("R01", "T01", "S01").items
    made = core.copied(planned("T01"), earlier, (), may_override=True, reasons={})

    assert names(made.plan) == ["T01", "R01", "S01"]
    assert made.taken_out == ()


def test_copied_reason_is_asked_anew() -> None:
    earlier = added(Plan(), "T01", RISK, reason="settled then").items
    made = core.copied(Plan(), earlier, [RISK], may_override=True, reasons={})
    again = core.copied(
        Plan(), earlier, [RISK], may_override=True, reasons={"T01": "settled again"}
    )
    free = core.copied(Plan(), earlier, [], may_override=False, reasons={})

    assert made.plan == Plan()
    assert [(o.item.activity.id, o.needs_reason) for o in made.taken_out] == [
        ("T01", True)
    ]
    assert again.plan.items[0].override == "settled again"
    assert free.plan.items[0].override == ""


def test_copy_says_which_order_kept_something_out() -> None:
    made = core.copied(
        Plan(), planned("T01", "S01").items, ["nwb_le"], may_override=True,
        reasons={"T01": "please"},
    )  # fmt: skip

    assert names(made.plan) == ["S01"]
    assert "Leg: non-weight-bearing" in made.taken_out[0].why
    assert not made.taken_out[0].needs_reason


def test_order_set_after_planning_takes_it_out_and_says_so() -> None:
    found = standing(planned("T01", "S01"), ["ttwb_le"])

    assert names(found.plan) == ["S01"]
    assert [o.item.activity.id for o in found.taken_out] == ["T01"]
    assert "Leg: toe-touch only" in found.taken_out[0].why


def test_risk_that_came_after_planning_asks_for_a_reason() -> None:
    found = standing(planned("T01"), [RISK])

    assert names(found.plan) == []
    assert found.taken_out[0].needs_reason


def test_reason_holds_for_the_risks_it_was_given_for() -> None:
    plan = added(Plan(), "T01", RISK, reason="settled")

    assert names(standing(plan, [RISK]).plan) == ["T01"]
    found = standing(plan, [RISK, "high_fall_standing"])
    assert names(found.plan) == []
    assert found.taken_out[0].needs_reason

    both = added(plan, "T01", RISK, "high_fall_standing", reason="two of us")
    assert names(standing(both, [RISK, "high_fall_standing"]).plan) == ["T01"]


KEYS = st.sampled_from(sorted(SHELF))
ORDERS = st.sampled_from(sorted(t for t, p in PRECAUTIONS.items() if p.kind == "order"))
RISKS = st.sampled_from(sorted(t for t, p in PRECAUTIONS.items() if p.kind == "risk"))
REASON = st.sampled_from(["", " ", "steady today"])
STEP = st.one_of(
    st.tuples(st.just("add"), KEYS, REASON, st.booleans()),
    st.tuples(st.just("copy"), st.lists(KEYS, max_size=6), REASON, st.booleans()),
    st.tuples(st.just("remove"), KEYS),
    st.tuples(st.just("move"), KEYS, st.sampled_from([-1, 1])),
    st.tuples(st.just("sets"), KEYS, st.integers(1, 10)),
    st.tuples(st.just("grade"), KEYS),
    st.tuples(st.just("set"), st.one_of(ORDERS, RISKS)),
    st.tuples(st.just("lift"), st.one_of(ORDERS, RISKS)),
)


def done(plan: Plan, tags: set[str], step: tuple[Any, ...]) -> Plan:
    """One step; what is refused leaves the plan as it was."""
    what, about, *rest = step
    try:
        if what == "add":
            reason, may = rest
            return core.add(
                plan, item_of(SHELF[about]), tags, may_override=may, reason=reason
            )
        if what == "copy":
            reason, may = rest
            return core.copied(
                plan, [item_of(SHELF[k]) for k in about], tags, may_override=may,
                reasons=dict.fromkeys(about, reason),
            ).plan  # fmt: skip
        if what == "remove":
            return core.remove(plan, about, tags)
        if what == "move":
            return core.move(plan, about, rest[0], tags)
        if what == "sets":
            return core.with_sets(plan, about, rest[0], tags)
        return core.with_grade(plan, about, SHELF[about].grade.hardest, tags)
    except Refused:
        return plan


@given(st.lists(STEP, max_size=30))
def test_no_way_leads_past_an_order(steps: list[tuple[Any, ...]]) -> None:
    plan, tags = Plan(), set[str]()
    for step in steps:
        if step[0] in ("set", "lift"):
            (tags.add if step[0] == "set" else tags.discard)(step[1])
        else:
            made = done(plan, tags, step)
            if made is not plan:
                assert not [i for i in made.items if permit(i.activity, tags).blocked]
            plan = made
        now = standing(plan, tags)
        for item in now.plan.items:
            found = permit(item.activity, tags)
            assert not found.blocked
            assert not found.risks or item.override.strip()
            assert {p.tag for p in found.risks} <= {*item.against}
        assert len(now.plan.items) + len(now.taken_out) == len(plan.items)
        assert len({*names(plan)}) == len(plan.items)


@given(KEYS, st.one_of(ORDERS, RISKS), REASON)
def test_student_never_plans_what_must_not_meet(
    key: str, tag: str, reason: str
) -> None:
    if tag in SHELF[key].must_not:
        with pytest.raises(Refused):
            added(Plan(), key, tag, may_override=False, reason=reason)
    else:
        assert names(added(Plan(), key, tag, may_override=False)) == [key]
