"""Every fault a simulated trial may show, and the rule behind it in our own words.

`rests_on` names the row of the measure's catalogue file the rule is taken from
("void_when", "setup", a set-up fact ...); where it is None the rule is common practice.
Whether a fault voids differs by measure, so ask `rule_for`.
"""

from dataclasses import dataclass, replace
from typing import Final

FIVE, THIRTY = "five_times_sit_to_stand", "thirty_second_chair_stand"
TUG, GAIT, REACH = "timed_up_and_go", "gait_speed", "functional_reach"
SQUARES, ONE_LEG = "four_square_step", "single_leg_stance"


@dataclass(frozen=True, slots=True)
class FaultRule:
    """What a fault is called, what follows from it, and what that rests on.

    `voids`: the trial does not count and is repeated. Otherwise it is kept and the
    fault is charted as a fact of the set-up, or leaves one repetition uncounted.
    """

    kind: str
    words: str
    rule: str
    voids: bool
    rests_on: str | None
    measures: tuple[str, ...]

    @property
    def how(self) -> str:
        """How the rule is known, in words for the screen."""
        if self.rests_on is None:
            return "common practice"
        return f"this test's sheet: {self.rests_on}"


def _rules(*rules: FaultRule) -> dict[str, FaultRule]:
    return {rule.kind: rule for rule in rules}


FAULTS: Final[dict[str, FaultRule]] = _rules(
    FaultRule(
        "arms_used",
        "The arms helped in getting up",
        "Hands on the thighs, the chair or a device count as arms used. Keep the time, "
        "chart the arms as used: the published figures are for folded arms.",
        False, "set-up fact 'Arms used to get up'", (FIVE, THIRTY),
    ),
    FaultRule(
        "not_upright",
        "One stand was not straight",
        "Every stand ends with hips and knees straight. One that does not makes the "
        "trial void.",
        True, "void when a stand was not straight", (FIVE, THIRTY),
    ),
    FaultRule(
        "early_start",
        "Moved before the word go",
        "The clock starts on the word go. Who is already moving by then has a head "
        "start the clock never saw: repeat.",
        True, None, (FIVE, TUG, THIRTY),
    ),
    FaultRule(
        "touches_strip",
        "A foot came down on a rod",
        "A rod touched or stood on makes the trial void.",
        True, "void when a rod was touched", (SQUARES,),
    ),
    FaultRule(
        "one_foot_only",
        "Only one foot stood in a square",
        "Both feet have to be down in every square before the next one.",
        True, "void when a square did not get both feet", (SQUARES,),
    ),
    FaultRule(
        "wrong_order",
        "The squares were taken in the wrong order",
        "Ahead, right, back, left, then the same way back. Another order is another "
        "path.",
        True, "void when the order was wrong", (SQUARES,),
    ),
    FaultRule(
        "sits_early",
        "Sat down before being turned and close to the chair",
        "The time stands, since the person did sit down. Chart it, and stand closest "
        "there next time: sitting from too far or half turned may miss the seat.",
        False, None, (TUG,),
    ),
    FaultRule(
        "short_of_line",
        "Turned before the line",
        "The line is passed before the turn. A shorter way is not this test.",
        True, "void when the line was not passed", (TUG,),
    ),
    FaultRule(
        "slows_early",
        "Stopped before the end line",
        "The walk goes on past the end line. Who stops short of it is timed standing.",
        True, "void when the person slowed or stopped before the end line", (GAIT,),
    ),
    FaultRule(
        "steps_off",
        "A step was taken during the reach",
        "Feet stay where they are. A step gives the reach away: it does not count.",
        True, "void when a step was taken", (REACH,),
    ),
    FaultRule(
        "heel_rise",
        "The heels came up",
        "Heels stay down where that is the rule of the day, as it was here.",
        True, "void when the heels lifted although the rule was heels down", (REACH,),
    ),
    FaultRule(
        "trunk_rotation",
        "The trunk turned to bring the shoulder forward",
        "Turning the trunk adds length that is no reach ahead. Show it and repeat.",
        True, None, (REACH,),
    ),
    FaultRule(
        "help_given",
        "A hand was laid on to help",
        "Help is given at once when it is needed, and the trial is then void.",
        True, "void when any physical help was given",
        (FIVE, THIRTY, TUG, GAIT, REACH, SQUARES, ONE_LEG),
    ),
    FaultRule(
        "leg_braced",
        "The raised leg leaned on the other one",
        "The raised foot stays clear of the standing leg. Leaning on it is a prop.",
        True, "void when the raised leg was braced against the other one", (ONE_LEG,),
    ),
    FaultRule(
        "seat_high",
        "The seat was 20 in high",
        "A higher seat makes rising easier. Keep the time, chart the height: published "
        "figures are for the standard seat, change only for the same seat.",
        False, "set-up fact 'Seat height'", (FIVE, TUG, THIRTY),
    ),
    FaultRule(
        "wrong_course",
        "The course was not as long as charted",
        "Measure before the walk. A time over another length is no time over this one: "
        "void, mark the course afresh.",
        True, "set-up, the length is measured (that it voids: common practice)",
        (GAIT, TUG),
    ),
)  # fmt: skip

#: Where a measure's own sheet says something else.
_OF_MEASURE: Final[dict[tuple[str, str], FaultRule]] = {
    ("arms_used", THIRTY): replace(
        FAULTS["arms_used"],
        rule="By this test's rule the score is 0 once the arms come in. The count "
        "itself is kept beside it.",
        rests_on="the score is 0 when the arms were used",
    ),
    ("not_upright", THIRTY): replace(
        FAULTS["not_upright"],
        rule="Only full stands are counted. The one that was not straight is left out; "
        "the trial stands.",
        voids=False,
        rests_on="count full stands only",
    ),
    **{
        ("help_given", measure): replace(
            FAULTS["help_given"],
            rule="A touch to steady is charted as help given. Published figures are "
            "for rising alone, so a helped trial is not set beside them: repeat it.",
            rests_on=None,
        )
        for measure in (FIVE, THIRTY)
    },
    **{
        ("help_given", measure): replace(FAULTS["help_given"], rests_on=row)
        for measure, row in (
            (GAIT, "void when a hand was laid on"),
            (REACH, "void when the person was held up"),
            (SQUARES, "void when a hand was needed"),
            (ONE_LEG, "void when the person was held or touched"),
        )
    },
}


def rule_for(kind: str, measure: str) -> FaultRule:
    """The rule of a fault in one measure; KeyError when it cannot happen there."""
    rule = FAULTS[kind]
    if measure not in rule.measures:
        raise KeyError(f"{kind} does not happen in {measure}")
    return _OF_MEASURE.get((kind, measure), rule)


def kinds_of(measure: str) -> tuple[FaultRule, ...]:
    """Every fault a student may be asked about in one measure, in a steady order."""
    return tuple(
        rule_for(rule.kind, measure)
        for rule in FAULTS.values()
        if measure in rule.measures
    )
