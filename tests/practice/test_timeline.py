"""Simulated trials: plausible, seeded, right about themselves, silent to the page."""

import json
import os
import re
import subprocess
import sys
from dataclasses import astuple
from decimal import Decimal
from functools import cache
from hashlib import sha256
from itertools import pairwise
from pathlib import Path

import pytest

from app.catalogue.load import catalogue
from app.clinical.scoring import read_trial, score
from app.practice import timeline as timelines
from app.practice.body import UPRIGHT
from app.practice.case import Case, Planned, Timeline
from app.practice.cases import CaseError, edition_of, read_case, read_cases
from app.practice.faults import FAULTS, kinds_of, rule_for
from app.practice.motion import motion
from app.practice.planning import planned
from app.practice.rising import SEAT_OVER
from app.practice.timeline import CLEAR_MS, MEASURES, make
from tests.make_practice import seed_with

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "demo_data" / "practice"
CASES = read_cases(FOLDER)
CATALOGUE = catalogue().measures
SEEDS = (1, 7, 2026)
TRIALS = [
    pytest.param(case, plan.number, id=f"{case.id}-{plan.number}")
    for case in CASES.values()
    for plan in case.trials
]
#: What a whole trial may last, in seconds: wide, and of common practice only.
LASTS = {
    "five_times_sit_to_stand": (8, 40),
    "thirty_second_chair_stand": (30, 30),
    "timed_up_and_go": (8, 40),
    "gait_speed": (3, 15),
    "functional_reach": (1.5, 5),
    "four_square_step": (5, 25),
    "single_leg_stance": (1.5, 45),
}
#: The first twelve digits of what seeds 7 and 8 make of all trials of a case, on any
#: machine. They change only together with GENERATOR or the case.
GOLDEN: dict[str, str] = {
    "half_minute_older": "da9277fff032",
    "half_minute_vestibular": "7d3ecfc58584",
    "one_leg_older": "ddbcbc589f51",
    "one_leg_stroke": "9b10174b6ed4",
    "reach_older": "341e4b8a8645",
    "reach_vestibular": "14f8ceb8b56f",
    "squares_amputee": "4a1840ee5fa7",
    "squares_older": "db7d0a8c750c",
    "squares_vestibular": "9ffe6c2b99c4",
    "stands_hip_fracture": "d57c5ed72abc",
    "stands_older": "09701822c8a7",
    "stands_stroke": "a1036fb9c631",
    "up_and_go_amputee": "3b21cbf5872e",
    "up_and_go_older": "ed52b4a13d12",
    "up_and_go_parkinson": "71920b780efe",
    "walk_hip_fracture": "a6e70fd8d3d9",
    "walk_parkinson": "3d9179de0f3b",
    "walk_stroke": "14b030bb86bc",
}


@cache
def made(name: str, trial: int, seed: int) -> Timeline:
    return make(CASES[name], trial, seed)


def digest(timeline: Timeline) -> str:
    """Everything that was made, frames, words and key, as one hash."""
    frames = [astuple(frame) for frame in timeline.frames]
    words = [astuple(line) for line in timeline.lines]
    scene = sorted(timeline.scene.items())
    whole = [timeline.go_ms, timeline.ends_ms, astuple(timeline.key), frames, words,
             scene]  # fmt: skip
    return sha256(json.dumps(whole, default=str).encode()).hexdigest()[:12]


def shown(timeline: Timeline) -> list[int]:
    """The frames' instants as the page puts them together."""
    times, now = [], 0
    for step in motion(timeline)["steps"]:
        now += step
        times.append(now)
    return times


def said_at(timeline: Timeline, number: int) -> float:
    """When the page says sentence `number` (from 1), found as it finds it."""
    sent: list[int] = motion(timeline)["said"]
    times = shown(timeline)
    for (t0, t1), (one, other) in zip(pairwise(times), pairwise(sent), strict=True):
        if one < number * 1000 <= other:
            return t0 + (t1 - t0) * (number * 1000 - one) / (other - one)
    raise AssertionError(f"sentence {number} is never said")


def test_every_measure_condition_and_fault_has_a_trial() -> None:
    assert {case.measure for case in CASES.values()} == set(MEASURES)
    assert {case.condition for case in CASES.values()} == {
        "none", "stroke", "parkinson", "vestibular", "amputation", "hip_fracture",
    }  # fmt: skip
    assert {one.kind for c in CASES.values() for one in c.possible} == set(FAULTS)


@pytest.mark.parametrize(("case", "trial"), TRIALS)
def test_nobody_learns_a_trial_by_its_number(case: Case, trial: int) -> None:
    """Seeds decide whether anything goes wrong, what, and when; about as often as said.

    Of 400 draws the share lies within four standard errors (10 of 100 at most).
    """
    drawn = [planned(case, trial, seed) for seed in range(400)]
    plan = case.plan(trial)
    share = 100 * sum(bool(one) for one in drawn) / len(drawn)
    kinds = {kind: {one.at for some in drawn for one in some if one.kind == kind}
             for kind in (one.kind for one in case.possible)}  # fmt: skip

    assert share == pytest.approx(plan.wrong, abs=10)
    assert max(len(one) for one in drawn) == plan.most
    for one in case.possible:
        first, last = one.at
        assert kinds[one.kind] <= set(range(first, last + 1)), one.kind
        assert {first, last} <= kinds[one.kind] or last > 10, one.kind
        assert len(kinds[one.kind]) > 1 or first == last, one.kind


@pytest.mark.parametrize(("case", "trial"), TRIALS)
def test_the_key_is_in_order_and_in_bounds(case: Case, trial: int) -> None:
    low, high = LASTS[case.measure]
    for seed in SEEDS:
        timeline = made(case.id, trial, seed)
        key = timeline.key

        assert 0 < timeline.go_ms <= timeline.ends_ms
        assert timeline.go_ms <= key.start_ms < key.stop_ms < timeline.ends_ms
        assert low <= key.taken_ms / 1000 <= high
        assert all(a < b for a, b in pairwise((key.start_ms, *key.splits)))
        assert all(split <= key.stop_ms for split in key.splits)
        assert len(key.splits) == len(CATALOGUE[case.measure].splits)


@pytest.mark.parametrize(("case", "trial"), TRIALS)
def test_planned_faults_and_no_others_happen(case: Case, trial: int) -> None:
    for seed in SEEDS:
        key = made(case.id, trial, seed).key
        plan = planned(case, trial, seed)

        assert sorted(f.kind for f in key.faults) == sorted(p.kind for p in plan)
        assert all(0 <= fault.at_ms < key.stop_ms + 1000 for fault in key.faults)
        voids = any(rule_for(f.kind, case.measure).voids for f in key.faults)
        assert key.valid is not voids


@pytest.mark.parametrize(("case", "trial"), TRIALS)
def test_the_catalogue_scores_the_key(case: Case, trial: int) -> None:
    measure = CATALOGUE[case.measure]
    key = made(case.id, trial, 7).key
    unit = {"count": "count", "distance": "in"}.get(measure.kind, "s")
    seconds = Decimal(key.taken_ms) / 1000
    value = {"count": key.count, "in": key.distance}.get(unit, seconds)
    read = read_trial(measure, f"{value} {unit}" if unit != "count" else f"{value}")

    result = score(measure, [read], variant="single", facts=case.facts)

    assert result.outcome == "completed"
    assert result.value is not None


def when(name: str, trial: int, kind: str) -> tuple[Planned, int, Timeline]:
    """A showing with that fault alone: as planned, when it was seen, and all of it."""
    seed = seed_with(CASES[name], trial, kind)
    timeline = made(name, trial, seed)
    (plan,) = planned(CASES[name], trial, seed)
    return plan, next(f.at_ms for f in timeline.key.faults if f.kind == kind), timeline


def test_arms_come_in_on_the_planned_stand() -> None:
    plan, at, timeline = when("stands_older", 2, "arms_used")
    splits = timeline.key.splits

    assert splits[plan.at - 2] < at < splits[plan.at - 1]


def test_an_early_start_is_before_go_and_the_key_is_not() -> None:
    _, at, timeline = when("stands_older", 3, "early_start")

    assert at < timeline.go_ms == timeline.key.start_ms


def test_a_high_seat_is_seen_before_anything_moves_and_is_not_charted() -> None:
    _, at, timeline = when("stands_older", 4, "seat_high")

    assert at == 0
    assert timeline.scene["seat"] == "20 in"
    assert CASES["stands_older"].facts["seat_height"] == "17 in"


def test_a_wrong_course_is_longer_than_charted() -> None:
    _, _, timeline = when("walk_stroke", 2, "wrong_course")

    assert CASES["walk_stroke"].facts["course"] == "10ft"
    assert timeline.scene["course"] == "12 ft"
    assert "12 ft" in timeline.words[0].text


def test_a_step_comes_after_the_farthest_point() -> None:
    _, at, timeline = when("reach_older", 3, "steps_off")

    assert at > timeline.key.stop_ms


def test_a_crooked_stand_is_not_counted() -> None:
    case = CASES["half_minute_older"]
    _, at, timeline = when("half_minute_older", 2, "not_upright")
    key = timeline.key
    straight = [w.at_ms for w in timeline.words if w.text == "Straight."]

    done = [ms for ms in straight if ms <= key.stop_ms]
    begun = [w.at_ms for w in timeline.words
             if "ising." in w.text or w.text == "Rises."]  # fmt: skip
    under_way = done[-1] < max(ms for ms in begun if ms < key.stop_ms)

    assert key.count is not None
    assert 0 <= key.count - len(done) <= under_way
    assert key.count < len([ms for ms in begun if ms < key.stop_ms])
    assert at not in straight
    assert key.valid
    assert rule_for("not_upright", "five_times_sit_to_stand").voids
    assert not rule_for("not_upright", case.measure).voids


#: How the sentence of the stop begins, and how much it adds to the stands that were
#: straight before; a stand more than halfway up at the stop counts (common practice).
AT_THE_STOP = {"straight": 0, "on the way down from straight": 0, "on the seat": 0,
               "hips more than halfway up": 1, "less than halfway up": 0}  # fmt: skip


@pytest.mark.parametrize("name", ["half_minute_older", "half_minute_vestibular"])
def test_who_reads_can_count_the_stand_under_way_at_the_stop(name: str) -> None:
    """By the sentences alone: straight at the stop was straight within the time.

    A stand is told by "Straight.", or by the sentence of the stop where that gave way.
    """
    told = set()
    for plan in CASES[name].trials:
        for seed in range(40):
            timeline = made(name, plan.number, seed)
            texts = [w.text for w in timeline.words]
            stop = texts.index("Stop")
            seen = texts[stop + 1].removeprefix("At the stop: ").removesuffix(".")
            told.add(seen)
            height_cm = height(timeline, "hip_r", timeline.key.stop_ms)
            half = (UPRIGHT + float(timeline.scene["seat_cm"]) + SEAT_OVER) / 2
            if "halfway" in seen and abs(height_cm - half) > 5:
                assert (height_cm > half) is ("more" in seen)

            assert timeline.words[stop + 1].at_ms == timeline.key.stop_ms
            assert timeline.key.count == _read_count(texts[: stop + 1], seen)
    assert told == set(AT_THE_STOP)


def _read_count(before: list[str], seen: str) -> int:
    """Stands by whoever reads: each that was straight, and the last by its sentence."""
    straight = before.count("Straight.")
    under_way = max(i for i, text in enumerate(before) if "ising." in text
                    or text == "Rises.")  # fmt: skip
    told = "Straight." in before[under_way:]
    gave_way = seen in ("straight", "on the way down from straight") and not told
    return straight + AT_THE_STOP[seen] + gave_way


def test_the_end_of_a_walk_is_a_whole_foot_over_the_line() -> None:
    timeline = made("walk_stroke", 1, seed_with(CASES["walk_stroke"], 1))
    names = motion(timeline)["points"]
    ankles = [names.index("ankle_r"), names.index("ankle_l")]
    for frame in timeline.frames:
        heel = max(frame.points[2 * i] for i in ankles) / 10 - 6 + 2
        over = heel >= float(timeline.scene["line_cm"])

        if abs(frame.at_ms - timeline.key.stop_ms) > 60:
            assert over == (frame.at_ms > timeline.key.stop_ms), frame.at_ms


def test_a_fixed_limit_ends_a_hold() -> None:
    text = (FOLDER / "one_leg_older.toml").read_text(encoding="utf-8")
    short = text.replace('limit = "45"', 'limit = "5"')
    key = make(read_case("one_leg_older", short), 1, 7).key

    assert key.taken_ms == 5000


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_the_set_up_is_one_the_sheet_knows(case: Case) -> None:
    known = {fact.key: fact for fact in CATALOGUE[case.measure].facts}
    stated = [case.facts, *(one.facts for one in case.possible)]

    for key, value in (pair for facts in stated for pair in facts.items()):
        assert key in known, key
        assert not known[key].options or value in known[key].options, (key, value)


def height(timeline: Timeline, point: str, ms: int) -> float:
    """How high a point is in the frame nearest to an instant, in cm."""
    names: list[str] = motion(timeline)["points"]
    at = 2 * names.index(point) + 1
    frame = min(timeline.frames, key=lambda one: abs(one.at_ms - ms))
    return -frame.points[at] / 10


@pytest.mark.parametrize(("case", "trial"), TRIALS)
def test_what_is_drawn_is_what_the_key_says(case: Case, trial: int) -> None:
    timeline = made(case.id, trial, 7)
    key = timeline.key
    if "seat_cm" in timeline.scene and key.count is None:
        seat = float(timeline.scene["seat_cm"])
        assert height(timeline, "hip_r", key.stop_ms + 60) == pytest.approx(
            seat + 9, abs=2
        )
        assert height(timeline, "hip_r", key.stop_ms - 150) > seat + 12
    if case.measure == "single_leg_stance":
        assert height(timeline, "ankle_r", key.start_ms - 100) == pytest.approx(
            8, abs=0.5
        )
        assert height(timeline, "ankle_r", key.stop_ms + 150) == pytest.approx(
            8, abs=0.5
        )
        assert height(timeline, "ankle_r", (key.start_ms + key.stop_ms) // 2) > 15
    if case.measure == "four_square_step":
        for split, foot in ((key.stop_ms, "heel_r"), (key.stop_ms, "heel_l")):
            assert height(timeline, foot, split + 120) < -10


@pytest.mark.parametrize(("case", "trial"), TRIALS)
def test_motion_tells_no_fault_and_no_instant(case: Case, trial: int) -> None:
    for seed in SEEDS:
        timeline = made(case.id, trial, seed)
        key = timeline.key
        secret = {key.start_ms, key.stop_ms, *key.splits, timeline.go_ms}
        secret |= {f.at_ms for f in key.faults if f.at_ms}
        secret |= {w.at_ms for w in timeline.words}
        page = motion(timeline)
        text = json.dumps(page)

        assert set(page) == {"points", "steps", "first", "moves", "said", "lines"}
        assert all(abs(t - s) >= CLEAR_MS for t in shown(timeline) for s in secret)
        for rule in FAULTS.values():
            assert rule.kind not in text
            assert rule.words.lower() not in text.lower()
        assert not any(word in text for word in ("valid", "fault", "void", "start_ms"))


@pytest.mark.parametrize(("case", "trial"), TRIALS)
def test_every_sentence_is_due_at_its_instant(case: Case, trial: int) -> None:
    timeline = made(case.id, trial, 7)

    assert [w.text for w in timeline.lines if w.cue][:2] == ["Ready", "Go"]
    for number, line in enumerate(timeline.lines, 1):
        assert said_at(timeline, number) == pytest.approx(line.at_ms, abs=1)


@pytest.mark.parametrize(("case", "trial"), TRIALS)
def test_who_only_hears_it_can_stop_the_clock(case: Case, trial: int) -> None:
    """Start and stop of the key each have their sentence, at that very instant."""
    for seed in SEEDS:
        timeline = made(case.id, trial, seed)
        said = {line.at_ms for line in timeline.lines}

        assert {timeline.key.start_ms, timeline.key.stop_ms} <= said


@pytest.mark.parametrize("name", CASES)
def test_same_seed_is_the_same_trial_everywhere(name: str) -> None:
    """Every trial, its faults drawn anew; another seed is another trial."""
    whole = sha256()
    for plan in CASES[name].trials:
        one, other = (digest(made(name, plan.number, seed)) for seed in (7, 8))
        assert one != other
        whole.update(f"{one} {other}".encode())

    assert whole.hexdigest()[:12] == GOLDEN[name]


GENERATORS = (
    "body", "chance", "gait", "motion", "one_leg", "planning", "reaching", "rising",
    "showing", "stepping", "timeline", "up_and_go", "walking",
)  # fmt: skip
#: What a machine's own library or a new Python may answer otherwise.
UNSTEADY = re.compile(
    r"\b(?:hash|shuffle|choice|choices|sample|randint|randrange|uniform|gauss|sin|cos"
    r"|tan|atan2?|exp|log|pow|time|secrets|uuid)\(|\*\* *0\.|import (?:random|math)\b"
)


def unsteady(source: str) -> list[str]:
    """What a trial must not be made with; docstrings and comments left out."""
    bare = re.sub(r'""".*?"""|#.*', "", source, flags=re.DOTALL | re.MULTILINE)
    lines = re.findall(r"from (?:math|random) import (.*)", bare)
    names = {name.strip() for line in lines for name in line.split(",")}
    return [*UNSTEADY.findall(bare), *sorted(names - {"sqrt", "Random"})]


@pytest.mark.parametrize("module", GENERATORS)
def test_a_trial_is_made_with_nothing_that_differs_between_machines(
    module: str,
) -> None:
    path = Path(timelines.__file__).parent / f"{module}.py"

    assert unsteady(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "source",
    ["x = sin(1)", "import random", "from math import cos, sqrt", "y = hash('a')",
     "chance.shuffle(left)", "z = 2 ** 0.5"],
)  # fmt: skip
def test_what_differs_would_be_noticed(source: str) -> None:
    assert unsteady(source)


ALONE = """
import sys
from hashlib import sha256
from pathlib import Path
from app.practice.cases import read_cases
from app.practice.timeline import make
for case in list(read_cases(Path(sys.argv[1])).values())[::5]:
    print(sha256(repr(make(case, 1, 7)).encode()).hexdigest())
"""


@pytest.mark.parametrize("hashes", ["0", "4242"])
def test_another_process_makes_the_same_trial(hashes: str) -> None:
    """One whose sets stand in another order, started for this alone."""
    where = os.environ | {"PYTHONHASHSEED": hashes, "PYTHONPATH": str(ROOT)}
    asked = [sys.executable, "-c", ALONE, str(FOLDER)]
    said = subprocess.run(asked, env=where, check=True, capture_output=True, text=True)

    assert said.stdout.split() == [
        sha256(repr(made(name, 1, 7)).encode()).hexdigest()
        for name in list(CASES)[::5]
    ]  # fmt: skip


def test_other_cases_make_another_edition(tmp_path: Path) -> None:
    text = (FOLDER / "one_leg_older.toml").read_text(encoding="utf-8")
    (tmp_path / "one_leg_older.toml").write_text(text)
    before = edition_of(tmp_path)
    (tmp_path / "one_leg_older.toml").write_text(text.replace("level = 1", "level = 2"))

    assert edition_of(tmp_path) != before


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("level = 1", "level = 9", "level"),
        ("level = 1", "levle = 1", "levle"),
        ("hold = [", "held = [", "pace.held"),
        ("sway = [2, 4]", "sway = [4, 2]", "pace.sway"),
        ("sway = [2, 4]", "", "pace.sway: is missing"),
        ("leg_braced", "wrong_order", "no fault"),
        ("wrong = 35", "wrong = 100", "wrong"),
        ("wrong = 35", "wrong = 0", "wrong"),
        ("wrong = 35", "", "wrong"),
        ("wrong = 35", "wrong = 35\nmost = 2", "one thing at a time"),
        ("at = [25, 60]", "at = [60, 25]", "at: must be"),
        ('kind = "help_given"', 'kind = "leg_braced"', "there twice"),
        ("single_leg_stance", "turn_360", "cannot be simulated"),
        ('condition = "none"', 'condition = "young"', "condition"),
    ],
)
def test_a_wrong_case_names_file_and_key(old: str, new: str, says: str) -> None:
    text = (FOLDER / "one_leg_older.toml").read_text(encoding="utf-8")
    assert old in text

    with pytest.raises(CaseError, match=f"one_leg_older.*{says}"):
        read_case("one_leg_older", text.replace(old, new, 1))


@pytest.mark.parametrize("measure", MEASURES)
def test_rules_that_rest_on_the_sheet_say_so(measure: str) -> None:
    rules = kinds_of(measure)

    assert rules
    for rule in rules:
        assert rule.how.startswith(("common practice", "this test's sheet"))
    with pytest.raises(KeyError):
        rule_for("heel_rise" if measure != "functional_reach" else "arms_used", measure)


@pytest.mark.parametrize("measure", MEASURES)
def test_what_is_said_to_void_stands_on_the_sheet(measure: str) -> None:
    sheet = [set(line.lower().split()) for line in CATALOGUE[measure].guide.void_when]
    for rule in kinds_of(measure):
        if rule.rests_on and rule.rests_on.startswith("void when"):
            claim = set(
                rule.rests_on.removeprefix("void when").replace(",", "").split()
            )
            alike = max(len(claim & line) / len(claim) for line in sheet)

            assert alike >= 0.6, (rule.kind, rule.rests_on)
            assert rule.voids
