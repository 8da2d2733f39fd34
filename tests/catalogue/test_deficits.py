"""`deficits.toml`: every deficit is there, strictly read; an error names the key."""

import shutil
from pathlib import Path

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import FOLDER, catalogue, load
from app.clinical.deficit import RULE_KINDS, WEAK_REASONS
from app.clinical.vocabulary import UNABLE_REASONS

SHELF = catalogue().deficits
KEYS = (
    "poor_sitting_hold", "short_seated_reach", "short_lateral_reach",
    "short_forward_reach", "poor_narrow_stance", "poor_single_leg",
    "sensory_reliance_vision", "slow_sit_to_stand", "unable_rise_without_arms",
    "transfer_assist", "slow_gait", "slow_tug",
    "turn_unsteady", "slow_step_direction", "recovery_step_poor",
    "dual_task_cost", "low_foot_clearance", "freezing_gait",
    "endurance_low", "lb_dressing_dependent", "ue_reach_limited",
    "bimanual_slow", "fine_motor_slow", "neglect_scanning",
    "home_hazards", "fear_of_falling",
)  # fmt: skip


def test_every_deficit_is_there() -> None:
    assert sorted(SHELF.named) == sorted(KEYS)
    assert len(KEYS) == 26


def test_each_has_a_rule_or_says_why_not() -> None:
    ruled = {rule.deficit for rule in SHELF.rules}

    for key, deficit in SHELF.named.items():
        assert (key in ruled) != bool(deficit.by_hand), key
    assert {rule.kind for rule in SHELF.rules} == set(RULE_KINDS)


def test_words_are_plain_and_short() -> None:
    for deficit in SHELF.named.values():
        assert len(deficit.short) <= 30, deficit.key
        assert len(deficit.words.split()) <= 12, deficit.key
    assert len({d.short for d in SHELF.named.values()}) == 26


def test_only_weakness_and_help_may_be_named() -> None:
    asked = {reason for rule in SHELF.rules for reason in rule.reasons}

    assert asked == set(WEAK_REASONS)
    assert set(UNABLE_REASONS) - asked == {"not_understood"}


def test_rules_say_how_they_are_known() -> None:
    read = {(rule.how, rule.source) for rule in SHELF.rules}

    assert read == {
        ("common practice", "common_practice"), ("secondary", "clemson2023"),
    }  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A catalogue with the tests and the rules, and nothing else."""
    shutil.copy(FOLDER / "facts.toml", tmp_path)
    shutil.copytree(FOLDER / "measures", tmp_path / "measures")
    return tmp_path


def written(folder: Path, old: str, new: str) -> None:
    text = (FOLDER / "deficits.toml").read_text()
    assert old in text
    (folder / "deficits.toml").write_text(text.replace(old, new, 1))


@pytest.mark.parametrize(
    ("old", "new", "key", "why"),
    [
        ('deficit = "slow_gait"', 'deficit = "slow"', "deficit", "'slow' is not one"),
        ('measure = "turn_360"', 'measure = "turn"', "measure", "'turn' is not one"),
        ('kind = "held"', 'kind = "stage"', "kind", "'stage' is not one of"),
        ('stage = "one_leg"', 'stage = "two_legs"', "stage", "'two_legs'"),
        ('quantity = "tandem"', 'quantity = "tango"', "quantity", "'tango'"),
        ('limits = ["falls"', 'limits = ["death"', "limits", "'death' is not one of"),
        ('lines = ["normal"', 'lines = ["mean"', "lines", "'mean' is not one of"),
        ('reasons = ["hands_on_help"]', 'reasons = ["not_understood"]', "reasons",
         "'not_understood'"),
        ('reasons = ["hands_on_help"]', "reasons = []", "reasons", "is missing"),
        ('facts = { eyes = "open" }', 'facts = { eyes = "half" }', "facts.eyes",
         "no such value"),
        ('facts = { other_hand = "holds" }', 'facts = { hat = "on" }', "facts.hat",
         "no choice 'hat'"),
        ('tasks = ["dressing_lower"]', 'tasks = ["knitting"]', "tasks", "'knitting'"),
        ('level = "minimal"', 'level = "a bit"', "level", "'a bit' is not one of"),
        ('tags = ["freezing"]', 'tags = ["cold"]', "tags", "'cold' is not one of"),
        ('question = "worried"', 'question = "sad"', "question", "'sad' is not one"),
        ('values = ["yes"]', 'values = ["often"]', "values", "no answer 'often'"),
        ('settings = ["community"', 'settings = ["town"', "settings", "'town'"),
        ('how = "secondary"', 'how = "guess"', "how", "'guess' is not one of"),
        ('source = "clemson2023"', 'source = "clemson"', "source", "differ"),
        ('key = "slow_tug"', 'key = "slow_gait"', "key", "there twice"),
        ('turn_360 = ["direction"]', 'turn_360 = ["size"]', "apart.turn_360",
         "no choice 'size'"),
        ('turn_360 = ["direction"]', 'turn = ["direction"]', "apart.turn",
         "no measure 'turn'"),
        ('kind = "zero"', 'kind = "zero"\nlimits = ["falls"]', "unknown key", "limits"),
        ("[[rule]]", "[[rule]]\nscore = 3", "unknown key", "score"),
        ('by_hand = "No test of the catalogue times fine', 'note = "times fine',
         "unknown key", "note"),
    ],
)  # fmt: skip
def test_wrong_file_is_refused(
    folder: Path, old: str, new: str, key: str, why: str
) -> None:
    written(folder, old, new)

    with pytest.raises(CatalogueError, match=r"deficits\.toml") as refusal:
        load(folder)
    assert key in str(refusal.value)
    assert why in str(refusal.value)


def test_deficit_without_rule_or_reason_is_refused(folder: Path) -> None:
    text = (FOLDER / "deficits.toml").read_text()
    kept = [line for line in text.splitlines() if not line.startswith("by_hand")]
    (folder / "deficits.toml").write_text("\n".join(kept))

    with pytest.raises(CatalogueError, match="sensory_reliance_vision: has no rule"):
        load(folder)


def test_rule_of_one_found_by_hand_is_refused(folder: Path) -> None:
    written(folder, 'deficit = "slow_gait"', 'deficit = "endurance_low"')

    with pytest.raises(CatalogueError, match="'endurance_low' is by hand"):
        load(folder)


def test_edition_follows_the_rules(folder: Path) -> None:
    first = load(folder).edition
    written(folder, 'level = "minimal"', 'level = "minimal"')
    second = load(folder).edition
    written(folder, 'level = "minimal"', 'level = "moderate"')

    assert len({first, second, load(folder).edition}) == 3


def test_activities_answer_what_there_is() -> None:
    answered = {key for a in catalogue().activities.values() for key in a.answers}

    assert answered == set(KEYS)
