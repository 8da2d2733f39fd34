"""The activities are carried whole, and a wrong file is refused by name."""

from collections import Counter

from app.catalogue.load import catalogue

ACTIVITIES = catalogue().activities


def test_all_are_carried() -> None:
    by_domain = Counter(a.domain for a in ACTIVITIES.values())

    assert by_domain == {
        "sitting_balance": 6, "standing_static": 4, "standing_dynamic": 4,
        "stepping": 6, "mobility_turning": 7, "transfers": 6, "coordination": 5,
        "lower_dressing": 6, "upper_reach": 4, "cognitive_dual": 4,
        "home_caregiver": 6,
    }  # fmt: skip
