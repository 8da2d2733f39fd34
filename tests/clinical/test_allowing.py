"""Orders block every activity they must not meet, whoever asks."""

import pytest

from app.catalogue.load import catalogue
from app.clinical.allowing import permit
from app.clinical.precautions import PRECAUTIONS

ACTIVITIES = tuple(catalogue().activities.values())
AGAINST = [(a, tag) for a in ACTIVITIES for tag in a.must_not]


@pytest.mark.parametrize(
    ("activity", "tag"), AGAINST, ids=lambda v: getattr(v, "id", v)
)
def test_must_not_is_obeyed(activity, tag):  # type: ignore[no-untyped-def]
    found = permit(activity, [tag])

    assert not found.allows(may_override=False, reason="asked for by the family")
    order = PRECAUTIONS[tag].kind == "order"
    assert found.blocked == order
    assert found.allows(may_override=True, reason="steady today") != order
    assert not found.allows(may_override=True, reason="  ")


def test_caution_forbids_nothing() -> None:
    seated = catalogue().activities["S01"]

    found = permit(seated, ["neglect"])

    assert [p.tag for p in found.cautions] == ["neglect"]
    assert found.allows(may_override=False, reason="")


def test_every_tag_stands_against_something() -> None:
    named = {t for a in ACTIVITIES for t in (*a.must_not, *a.caution)}

    assert named == set(PRECAUTIONS)
