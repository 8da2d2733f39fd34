"""Base rates as data: every row carried, rates kept apart from chances, checks run."""

import shutil
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import FOLDER, catalogue, load
from app.clinical.accuracy import likelihood_ratios, post_test
from app.clinical.guide import Check
from app.clinical.quantities import printed_places, rounded

BASE = catalogue().base
Given = Mapping[str, Any]


def like(found: Decimal | None, expected: str) -> str:
    assert found is not None
    return str(rounded(found, printed_places(Decimal(expected))))


def both(given: Given) -> tuple[Decimal | None, Decimal | None]:
    return likelihood_ratios(
        Decimal(given["sensitivity"]), Decimal(given["specificity"])
    )


def computed(check: Check) -> dict[str, str]:
    """What the program makes of a worked example."""
    given: Given = check.given
    if check.kind == "likelihood":
        pair = dict(zip(("positive", "negative"), both(given), strict=True))
        return {k: like(pair[k], str(v)) for k, v in check.expect.items()}
    assert check.kind == "post_test"
    ratio = Decimal(given["ratio"]) if "ratio" in given else None
    ratio = ratio or both(given)[0 if given["crossed"] else 1]
    assert ratio is not None
    post = post_test(Decimal(given["pretest"]), ratio) * 100
    return {"percent": like(post, str(check.expect["percent"]))}


def test_every_row_is_carried() -> None:
    assert len(BASE.rates) == 35
    assert len(BASE.checks) == 8
    assert all(isinstance(r.value, Decimal) for r in BASE.rates)


@pytest.mark.parametrize("check", BASE.checks, ids=lambda c: c.what)
def test_worked_example_holds(check: Check) -> None:
    assert computed(check) == dict(check.expect)


def test_rate_is_no_chance() -> None:
    """Falls for a person-year or for 1000 days tell of nobody's chance."""
    rates = [r for r in BASE.rates if r.unit != "share"]

    assert [(r.source, str(r.value), r.unit) for r in rates] == [
        ("allan2009", "9.118", "per_person_year"),
        ("bouldin2013", "3.56", "per_1000_days"),
    ]
    assert not any(r.is_chance for r in rates)


def test_sample_that_no_key_tells_is_nobodys_chance() -> None:
    kept = {r.source for r in BASE.rates if r.no_verdict}

    assert {"hartley2023", "voss2012", "notatrisk2025", "mci2022"} <= kept
    assert not any(r.is_chance for r in BASE.rates if r.no_verdict)


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ('event = "one_or_more_falls"', 'event = "falling"', "event: 'falling' is not"),
        ('horizon = "stay"', 'horizon = "soon"', "horizon: 'soon' is not one of"),
        ('horizon = "stay"', 'horizon = "rate"', "`rate` is the time of a rate"),
        ("value = 0.148", "value = 1.48", "a share lies between 0 and 1"),
        ("value_low = 0.19\n", "", "value_low and value_high go together"),
        ('key = "bergen2016"', 'key = "bergen2017"', "is cited but not listed"),
    ],
)
def test_wrong_row_is_named(tmp_path: Path, old: str, new: str, why: str) -> None:
    (tmp_path / "measures").mkdir()
    shutil.copy(FOLDER / "facts.toml", tmp_path)
    text = (FOLDER / "base_rates.toml").read_text()
    assert old in text
    (tmp_path / "base_rates.toml").write_text(text.replace(old, new, 1))

    with pytest.raises(CatalogueError, match=r"base_rates\.toml") as refusal:
        load(tmp_path)
    assert why in str(refusal.value)
