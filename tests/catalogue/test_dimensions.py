"""Dimensions as data: every row carried with its section, checks run, faults named."""

import shutil
from collections import Counter
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import FOLDER, catalogue, load
from app.clinical.dimensions import Length, compare, verdict_of
from app.clinical.guide import Check
from app.clinical.quantities import rounded
from app.clinical.ramps import LANDING, MOST_RISE, RAILS_ABOVE, RUN_PER_RISE, ramp_for
from app.clinical.seat_height import RATIO, Leg, start_words

DIMENSIONS = catalogue().dimensions
REFERENCES = [r for t in DIMENSIONS.things.values() for r in t.references]
#: Section -> the interval as printed: what a slip of the pen would change.
PRINTED = {
    "302.2": ["at most 1/2 in"],
    "303.2": ["at most 1/4 in"],
    "303.3": ["at most 1/2 in"],
    "304.3.1": ["at least 60 in"],
    "304.3.2": ["at least 60 in", "at least 36 in", "at least 12 in", "at least 24 in"],
    "305.3": ["at least 30 in", "at least 48 in"],
    "306.2.3": ["at least 17 in"],
    "306.3.1, 306.3.3": ["at least 27 in"],
    "306.3.3": ["at least 11 in", "at least 8 in"],
    "306.3.5": ["at least 30 in"],
    "308.2.1": ["15 to 48 in"],
    "308.2.2": ["at most 48 in", "at most 44 in"],
    "308.3.1": ["15 to 48 in"],
    "308.3.2": ["at most 48 in", "at most 46 in"],
    "403.5.1": ["at least 36 in", "at least 32 in"],
    "403.5.2": ["at least 42 in", "at least 48 in", "at least 60 in", "at least 42 in"],
    "404.2.3": ["at least 32 in", "at least 36 in"],
    "404.2.5": ["at most 1/2 in"],
    "404.2.7": ["34 to 48 in"],
    "405.2": ["1:12 or gentler", "1:10 or gentler", "1:8 or gentler"],
    "405.3": ["1:48 or gentler"],
    "405.5": ["at least 36 in"],
    "405.6": ["at most 30 in"],
    "405.7.3": ["at least 60 in"],
    "405.7.4": ["at least 60 in"],
    "405.8": ["handrails above 6 in"],
    "505.4": ["34 to 38 in"],
    "505.5": ["at least 1 1/2 in"],
    "505.7.1": ["1 1/4 to 2 in"],
    "604.2": ["16 to 18 in"],
    "604.4": ["17 to 19 in"],
    "604.5.1": ["at least 42 in", "at most 12 in", "at least 54 in"],
    "604.5.2": ["at least 36 in", "at least 12 in", "at least 24 in"],
    "607.4.1.1": ["8 to 10 in"],
    "607.4.2.3": ["at least 12 in"],
    "609.2.1": ["1 1/4 to 2 in"],
    "609.3": ["1 1/2 in"],
    "609.4": ["33 to 36 in"],
    "610.2": ["17 to 19 in", "15 to 16 in", "at least 15 in"],
    "610.3": ["17 to 19 in"],
    "610.3.1": ["15 to 16 in"],
    "806.2.3": ["at least 30 in", "at least 48 in"],
    "902.3": ["28 to 34 in"],
    "903.3": ["at least 42 in", "20 to 24 in"],
    "903.5": ["17 to 19 in"],
}


def test_every_row_is_carried() -> None:
    counts = (len(DIMENSIONS.things), len(REFERENCES), len(DIMENSIONS.notes))

    assert counts == (65, 67, 5)
    assert (len(DIMENSIONS.findings), len(DIMENSIONS.legs)) == (8, 2)
    assert len(DIMENSIONS.checks) == 45


def test_intervals_stand_as_printed_under_their_section() -> None:
    found: dict[str, list[str]] = {}
    for reference in REFERENCES:
        found.setdefault(reference.section, []).append(reference.words)

    assert found == PRINTED


def test_what_was_recalled_is_not_dressed_as_read() -> None:
    assert Counter(r.how for r in REFERENCES) == {
        "full text": 43, "secondary": 13, "memory": 11,
    }  # fmt: skip
    recalled = {r.section for r in REFERENCES if r.how == "memory"}
    assert recalled == {
        "306.3.3", "505.5", "505.7.1", "609.3", "806.2.3", "902.3", "903.3", "903.5",
    }  # fmt: skip
    assert all(r.read_in for r in REFERENCES if r.how == "full text")


def test_bed_has_no_number() -> None:
    bed = DIMENSIONS.things["bed"]

    assert bed.references == ()
    assert bed.none == "No number is published for the height of a bed."
    assert bed.none_how == "memory"


def test_no_end_lies_where_a_shown_length_could_deny_it() -> None:
    """`Length.other` rounds to a tenth but at these numbers."""
    ends = {
        end
        for r in REFERENCES
        for end in (r.at_least, r.at_most, r.more_than)
        if end is not None
    }

    assert all(end % 1 == 0 or (end <= 2 and end * 4 % 1 == 0) for end in ends)


def test_ramp_rules_of_the_program_are_those_of_the_file() -> None:
    things = DIMENSIONS.things
    rise, rails = things["ramp_rise"].references
    slope, ten, eight = things["ramp_slope"].references

    assert rise.at_most == Decimal(MOST_RISE)
    assert rails.more_than == Decimal(RAILS_ABOVE)
    assert slope.at_least == RUN_PER_RISE
    assert [str(r.at_least) for r in (ten, eight)] == ["10", "8"]
    assert things["ramp_landing"].references[0].at_least == LANDING


def worked(check: Check) -> dict[str, object]:
    """What the program makes of a worked example."""
    given: Mapping[str, Any] = check.given
    if check.kind == "compare":
        reference = DIMENSIONS.things[given["thing"]].references[given["reference"] - 1]
        if given["unit"] == "1:":
            return {"verdict": verdict_of(Fraction(given["value"]), reference)[0]}
        length = Length(Decimal(given["value"]), given["unit"])
        return {"verdict": compare(length, reference).verdict}
    if check.kind == "ramp":
        ramp = ramp_for(Length(Decimal(given["rise"]), given["unit"]))
        return {
            "run": str(ramp.run), "runs": ramp.runs, "landings": ramp.landings,
            "rails": ramp.rails,
        }  # fmt: skip
    if check.kind == "start":
        length = Length(Decimal(given["leg"]), given["unit"])
        return {"says": start_words(Leg(length, given["shoes"]))}
    assert check.kind == "rank"
    (sample,) = (s for s in DIMENSIONS.legs if s.sex == given["sex"])
    cm = rounded(Fraction(sample.ranks[given["rank"]]) * RATIO, 1)
    return {"cm": str(cm)}


@pytest.mark.parametrize("check", DIMENSIONS.checks, ids=lambda c: c.what)
def test_worked_example_holds(check: Check) -> None:
    assert worked(check) == dict(check.expect)


def test_edition_changes_with_a_dimension(tmp_path: Path) -> None:
    before = copied(tmp_path)
    text = (tmp_path / "dimensions.toml").read_text()
    (tmp_path / "dimensions.toml").write_text(
        text.replace("at_most = 19", "at_most = 18", 1)
    )

    assert load(tmp_path).edition != before


def copied(folder: Path) -> str:
    """The file without any measure; the edition of that."""
    (folder / "measures").mkdir()
    shutil.copy(FOLDER / "facts.toml", folder)
    shutil.copy(FOLDER / "dimensions.toml", folder)
    return load(folder).edition


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("at_most = 19", "at_most = 16", "thing 1: reference 1: at_least: is above"),
        ("at_most = 19", "atmost = 19", "thing 1: reference 1: unknown key atmost"),
        ('section = "604.4"', "", "thing 1: reference 1: section: is missing"),
        ('how = "full text"', 'how = "sure"', "how: 'sure' is not one of"),
        ('source = "ada2010"', 'source = "ada"', "'ada' is cited but not listed"),
        ('rooms = ["bathroom"]', 'rooms = ["attic"]', "rooms: 'attic' is not one of"),
        ('kind = "seat"', 'kind = "stool"', "thing 1: kind: 'stool' is not one of"),
        ("own = true", "own = false", "own: is for seats, and for every seat"),
        ('key = "bed"', 'key = "toilet_seat"', "thing 2: key: 'toilet_seat' is there"),
        ('key = "bed"', 'key = "the bed"', "thing 2: key: small letters"),
        ('none = "No number is', 'no = "No number is', "has references, or says"),
        ("more_than = 6", "at_most = 6", "says what is asked for beyond more_than"),
        ("more_than = 6", "more_than = 6\nat_least = 1", "more_than: stands alone"),
        ('when = "bevelled"', 'when = "round"', "when: 'round' is not one of"),
        ("at_most = 0.25", "at_most = 0", "needs an end above zero"),
        ("p5 = 35.0", "p5 = 33.0", "leg 1: ranks: must rise"),
        ("p5 = 35.0, ", "", "leg 1: ranks: p5: is missing"),
        ('key = "ansur2"', 'key = "ansur3"', "listed and cited differ"),
        ('kind = "ramp"', 'kind = "hill"', "kind: 'hill' is not one of"),
    ],
)
def test_bad_file_names_table_and_key(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    copied(tmp_path)
    text = (tmp_path / "dimensions.toml").read_text()
    assert old in text
    (tmp_path / "dimensions.toml").write_text(text.replace(old, new, 1))

    with pytest.raises(CatalogueError) as refusal:
        load(tmp_path)
    assert str(refusal.value).startswith("dimensions.toml: ")
    assert says in str(refusal.value)
