"""Demo data: ages hold whatever the day, and what the bedside refuses is named."""

from datetime import date, timedelta
from pathlib import Path
from shutil import copytree

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import catalogue
from app.clinical.person import ages_on
from app.commands.demo_files import DemoPatient, read_story
from app.commands.demo_sets import DemoSet, check_sets
from app.commands.demo_site import details_of
from app.resources import folder
from app.storage.activity_sets import SetBody

FOLDER = folder("demo_data")
SHELF = catalogue()
STORY = read_story(FOLDER, SHELF)
FIVE = "five_times_sit_to_stand"


@pytest.mark.parametrize("patient", STORY.patients, ids=lambda p: p.label)
@pytest.mark.parametrize("today", ["2026-03-02", "2027-01-03", "2028-02-29"])
def test_age_holds_at_every_visit(patient: DemoPatient, today: str) -> None:
    def day(days_ago: int) -> date:
        return date.fromisoformat(today) - timedelta(days=days_ago)

    details = details_of(patient, day)
    visits = [day(v.days_ago) for v in patient.visits] or [day(0)]
    ages = [
        ages_on(on, born=details.birth_date, year=details.birth_year) for on in visits
    ]

    if patient.turns is None:
        assert set(ages) == {(patient.age,)}
    else:
        assert ages[-1] == (patient.turns - 1, patient.turns)


PATIENT = "patients/cobalt_badger.toml"
WREN = "patients/jade_wren.toml"
HERON = "patients/amber_heron.toml"


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        (PATIENT, '"13.9 s"', '"13,9 s"', "visit 2: round 1: trial 1: result: "),
        (PATIENT, '"13.9 s"', '"1390 s"', "outside what a trial can be"),
        (PATIENT, '"17 in"', '"17"', "visit 1: round 1: facts: seat_height"),
        (PATIENT, "arms_used", "arms", "has no set-up fact 'arms'"),
        (PATIENT, '"single"', '"double"', "variant: 'double' is not one of"),
        (PATIENT, f'"{FIVE}"', '"six_times"', "measure: 'six_times' is not one of"),
        (PATIENT, "days_ago = 3", "days_ago = 0", "visit 2: days_ago: today belongs"),
        (PATIENT, "days_ago = 3", "days_ago = 30", "before the episode opened"),
        (PATIENT, "days_ago = 3", "days_ago = -3", "must be a whole number of days"),
        (PATIENT, '"11:05"', '"noon"', "at: write a time of day"),
        (PATIENT, "13.9]", "14.9]", "splits_s: must rise, and end before"),
        (PATIENT, '"male"', '"m"', "sex: 'm' is not one of"),
        (PATIENT, "age = 79", "age = 8", "age: must be 14 to 120"),
        (PATIENT, "age = 79", "", "give either age or turns"),
        (PATIENT, '"demo-therapist"]', '"nobody"]', "assigned: 'nobody' is not one of"),
        (PATIENT, "reason =", "why =", "episode: reason: is missing"),
        (PATIENT, '"community"', '"garden"', "setting: 'garden' is not one of"),
        (PATIENT, "shows =", "colour = 1\nshows =", "unknown key colour"),
        (PATIENT, "Cobalt Badger", "Amber Heron", "label: another file has it"),
        ("patients/jade_wren.toml", '"physical"', '"lazy"', "reason: 'lazy' is not"),
        ("patients/saffron_otter.toml", '"12"]', '"3"]', "marks: The end mark"),
        ("patients/indigo_kestrel.toml", "not_done", "stopped", "in force: Weight-"),
        (HERON, 'until = "10:28"', 'until = "10:01"', "until: not before 10:12"),
        (HERON, 'until = "10:28"', 'until = "late"', "until: write a time of day"),
        (HERON, 'hand_off = "family"', "", "visit 4: hand_off: is missing"),
        (HERON, 'hand_off = "family"', 'hand_off = "dog"', "'dog' is not one of"),
        (HERON, 'pain = "2"', 'pain = "11"', "pain: Pain: a whole number from 0"),
        (HERON, 'arm = "left"', 'leg = "left"', "unknown key leg"),
        (HERON, '"lying"', '"flying"', "position: In which position?"),
        (HERON, 'share = "60"', 'share = "80"', "share: Moderate: patient does 50"),
        (HERON, 'code = "03"', 'code = "3"', "code: '3' is not one of"),
        (HERON, "individual = 38", "alone = 38", "minutes: unknown key alone"),
        (WREN, '"15 1/4"', '"15,25"', "room 1: value: '15,25': write a point"),
        (WREN, '"tub_rim"', '"tub"', "room 2: thing: Choose what was measured."),
        (WREN, 'of = "toilet"', 'of = "bath"', "room: of: no change 'bath' before"),
        (WREN, 'phase = "after"\n', "", "room 1: of: only what was measured after it"),
        (WREN, '"supplier"', '"dog"', "change 1: who: Choose one."),
        (WREN, 'before = "toilet_seat"', 'before = "sink"', "'sink' is not one of"),
        (WREN, 'state = "agreed"', 'state = "soon"', "state: 'soon' is not one of"),
        (WREN, '"15.5 in"', '"5.5 in"', "sizes: lower_leg: Lower leg, floor to"),
        ("people.toml", '"student"', '"guest"', "role: 'guest' is not one of"),
    ],
)  # fmt: skip
def test_bad_demo_data_names_file_and_key(
    tmp_path: Path, file: str, old: str, new: str, says: str
) -> None:
    copied = copytree(FOLDER, tmp_path / "demo_data")
    text = (copied / file).read_text()
    assert old in text
    (copied / file).write_text(text.replace(old, new))

    with pytest.raises(CatalogueError) as caught:
        read_story(copied, SHELF)
    assert str(caught.value).startswith(f"{Path(file).name}: ")
    assert says in str(caught.value)


WREN = "patients/jade_wren.toml"


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        (WREN, 'activity = "R01"', 'activity = "R99"', "set 1: activity: 'R99' is not"),
        (WREN, "grade = 22", "grade = 40", "set 1: grade: lies outside the ladder"),
        (WREN, "reps = 5", "reps = -5", "set 1: reps: must be 0 to 9999"),
        (WREN, "times = 2", "times = 99", "set 1: times: must be 1 to 10"),
        (WREN, "effort = 6", "effort = 16", "set 1: effort: must be 0 to 10"),
        (WREN, '"two_hands"', '"three_hands"', "hand_support: 'three_hands' is not"),
        (WREN, '["tired"]', '["sad"]', "symptoms: 'sad' is not one of"),
        (WREN, "reps = 5", "reps = 5\npulse = 80", "unknown key pulse"),
        ("patients/ivory_newt.toml", 'activity = "S02"', 'activity = "G01"',
         "visit 3: G01: in force: Safety judgement impaired"),
    ],
)  # fmt: skip
def test_set_that_the_bedside_refuses_is_named(
    tmp_path: Path, file: str, old: str, new: str, says: str
) -> None:
    copytree(FOLDER, tmp_path / "story")
    path = tmp_path / "story" / file
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))
    with pytest.raises(CatalogueError) as refused:
        read_story(tmp_path / "story", SHELF)

    assert says in str(refused.value)


@pytest.mark.parametrize(
    ("tag", "reason", "may_override", "refused"),
    [
        ("nwb_le", "", True, True),
        ("nwb_le", "the surgeon said so", True, True),
        ("bleeding_risk", "", True, True),
        ("bleeding_risk", "belt on, two of us", True, False),
        ("bleeding_risk", "belt on, two of us", False, True),
        ("osteoporosis", "belt on, two of us", True, False),
        ("neglect", "", False, False),
    ],
)
def test_no_set_goes_against_an_order(
    tag: str, reason: str, may_override: bool, refused: bool
) -> None:
    """A student's goes against no risk either."""
    sets = [DemoSet("T06", SetBody(override=reason), "")]
    try:
        check_sets("story", sets, SHELF, [tag], may_override=may_override)
        said = ""
    except CatalogueError as fault:
        said = str(fault)

    assert said.startswith("story: T06: in force: ") is refused
