"""What a note says of a row's use is a key: the row keeps away without it."""

from collections.abc import Mapping

import pytest

from app.catalogue.load import all_rows, catalogue
from app.clinical.fit import match
from app.clinical.person import Person
from app.clinical.precautions import clearance
from app.clinical.scoring import Score

STROKE = Person((70,), "male", ("stroke",), "inpatient", {})
EARLY = Person((70,), "male", ("stroke",), "inpatient", {"time_since": "first_week"})
YEARS = Person((70,), "male", ("stroke",), "community", {"time_since": "established"})
INJURED = Person((40,), "male", ("sci",), "inpatient", {})
INJURED_WOMAN = Person((40,), "female", ("sci",), "inpatient", {})
YOUNG = Person((30,), "female", (), "community", {})
OLD = Person((75,), "female", (), "community", {})
#: measure, source, whom, set-up, how many rows of that source fit
KEYED = [
    ("seated_reach_forward", "thompson2007", YOUNG, {"seat": "chair"}, 2),
    ("seated_reach_forward", "thompson2007", YOUNG, {"seat": "edge"}, 0),
    ("seated_reach_forward", "thompson2007", YOUNG, {"landmark": "wrist"}, 0),
    ("seated_reach_forward", "singh2013", YOUNG, {"landmark": "wrist"}, 0),
    ("seated_reach_forward", "singh2013", YOUNG, {"other_hand": "holds"}, 0),
    ("seated_reach_forward", "singh2013", YOUNG, {"reach_method": "two_arm"}, 0),
    ("seated_reach_forward", "lynch1998", INJURED, {"seat": "board"}, 1),
    ("seated_reach_forward", "lynch1998", INJURED, {"seat": "chair"}, 0),
    ("seated_reach_forward", "lynch1998", INJURED_WOMAN, {"seat": "board"}, 0),
    ("seated_reach_forward", "fieldfote2010", INJURED, {"landmark": "wrist"}, 1),
    ("seated_reach_forward", "fieldfote2010", INJURED, {"landmark": "knuckle"}, 0),
    ("seated_reach_forward", "fieldfote2010", INJURED, {}, 0),
    ("seated_reach_lateral", "fieldfote2010", INJURED,
     {"landmark": "wrist", "injury": "complete"}, 0),
    ("seated_reach_forward", "tsangmak2004", EARLY, {"form": "sit_and_reach"}, 1),
    ("seated_reach_forward", "tsangmak2004", EARLY, {}, 0),
    ("seated_reach_forward", "tsangmak2004", YEARS, {"form": "sit_and_reach"}, 0),
    ("seated_reach_forward", "katzleurer2009", YEARS, {}, 0),
    ("seated_reach_forward", "tyson2004", STROKE, {}, 1),
    ("seated_reach_lateral", "singh2013", YOUNG, {"side": "left"}, 1),
    ("lateral_reach", "gvsu412", OLD, {}, 0),
    ("lateral_reach", "gvsu412", OLD, {"plane": "scapular"}, 1),
    ("lateral_reach", "brauer1999", OLD, {}, 1),
    ("lateral_reach", "brauer1999", OLD, {"plane": "scapular"}, 0),
    ("lateral_reach", "newton2001", OLD, {"directions": "four", "side": "left"}, 2),
    ("lateral_reach", "newton2001", OLD, {"directions": "sides_only"}, 0),
    ("lateral_reach", "krishnan2011", YOUNG, {"side": "right"}, 1),
]  # fmt: skip


@pytest.mark.parametrize(("measure", "source", "person", "facts", "fitting"), KEYED)
def test_rows_fit_only_where_their_source_speaks(
    measure: str, source: str, person: Person, facts: Mapping[str, str], fitting: int
) -> None:
    m = catalogue().measures[measure]
    score = Score(m.id, "completed", m.variants[0].id, m.units[0], facts=facts)
    rows = [row for row in all_rows(m) if row.source == source]

    assert rows
    assert sum(match(m, row.fit, person, score).fits for row in rows) == fitting


@pytest.mark.parametrize(
    ("measure", "order", "allowed"),
    [
        ("seated_reach_forward", "nwb_le", True),
        ("seated_reach_forward", "wb_unknown", True),
        ("seated_reach_forward", "high_fall_standing", True),
        ("seated_reach_forward", "spinal", False),
        ("seated_reach_forward", "hip_post", False),
        ("seated_reach_forward", "medical_hold", False),
        ("seated_reach_lateral", "pwb_le", True),
        ("seated_reach_lateral", "spinal", False),
        ("seated_reach_lateral", "unstable_vitals", False),
        ("lateral_reach", "nwb_le", False),
        ("lateral_reach", "hip_abd", False),
        ("lateral_reach", "spinal", False),
        ("thirty_second_chair_stand", "nwb_le", False),
        ("thirty_second_chair_stand", "hip_post", False),
    ],
)
def test_orders_that_hold_for_a_seat_too(
    measure: str, order: str, allowed: bool
) -> None:
    m = catalogue().measures[measure]

    assert clearance(m.must_not, m.caution, [order]).allowed is allowed


@pytest.mark.parametrize("order", ["nwb_le", "ttwb_le", "pwb_le", "wb_unknown"])
@pytest.mark.parametrize("measure", ["seated_reach_forward", "seated_reach_lateral"])
def test_load_on_a_leg_is_warned_of_in_a_seated_reach(measure: str, order: str) -> None:
    m = catalogue().measures[measure]

    assert [p.tag for p in clearance(m.must_not, m.caution, [order]).warned_by] == [
        order
    ]


def test_outlier_is_shown_and_judges_nobody() -> None:
    """Krishnan 2011 disagrees with all others by a factor of 2.5."""
    rows = [
        norm
        for norm in catalogue().measures["lateral_reach"].norms
        if norm.source == "krishnan2011"
    ]

    assert len(rows) == 8
    assert all(norm.no_verdict and norm.fit.requires["side"] for norm in rows)
