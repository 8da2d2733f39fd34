"""What scoring practice asks for, rule by rule, and which rule comes next.

A rule has a closed key. Answers are kept by it, so that what somebody gets wrong comes
back more often, and what they get right still comes back.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

#: The steps of one exercise, in order.
STEPS: Final = ("trials", "score", "set_up", "source", "change", "line")
LEVELS: Final = (1, 2, 3, 4)
#: How many latest answers to one rule say how it stands now.
LATEST: Final = 5
#: Weights of the next draw: each rule, one never asked, and all of the latest wrong.
ALWAYS, NEW, WEAK = 1.0, 1.0, 4.0


@dataclass(frozen=True, slots=True)
class Rule:
    """`says` is the rule in words; it is met from `level` on, at `step`."""

    step: str
    says: str
    level: int = 1


RULES: Final[Mapping[str, Rule]] = {
    "trial_counts": Rule("trials", "A completed trial done by the rules counts."),
    "practice_trial": Rule("trials", "A practice trial never counts."),
    "void_trial": Rule("trials", "A trial voided by a rule never counts.", 2),
    "unable_trial": Rule(
        "trials", "Unable is a result of its own: never 0, never blank.", 2
    ),
    "part_counts": Rule("trials", "A part counts when it was done as it is asked for."),
    "part_other_way": Rule(
        "trials", "A part done another way gives no points of the battery.", 3
    ),
    "part_missing": Rule(
        "trials", "A part left out, and not unable, leaves the total open.", 3
    ),
    "too_few": Rule("trials", "Fewer trials than the rule takes make no score.", 3),
    "rounding": Rule("score", "One rounding: to the test's precision, half up."),
    "mean_rule": Rule("score", "A mean is made first and rounded once."),
    "best_rule": Rule("score", "The better trial is the score, not the mean."),
    "stages_in_order": Rule(
        "score", "Stages held in order; the first one missed ends the test."
    ),
    "speed_over_course": Rule("score", "Speed is the course divided by the time."),
    "fall_rule": Rule(
        "score", "The fall is from the first reading to the lowest at 1 or 3 minutes."
    ),
    "points_by_table": Rule(
        "score", "Each part has its points by its own table; the total is their sum."
    ),
    "unable_part_zero": Rule(
        "score", "A part that could not be done is worth 0, and the total stands.", 2
    ),
    "zero_by_rule": Rule("score", "Some set-ups score 0 by the test's own rule.", 2),
    "unable_no_number": Rule("score", "An unable test has no number.", 2),
    "set_up_standard": Rule(
        "set_up", "Norms and cut-offs are for the published set-up."
    ),
    "set_up_off": Rule(
        "set_up", "Off the published set-up, usual norms give no verdict."
    ),
    "own_condition": Rule(
        "source", "People with the same condition come before older adults in general."
    ),
    "fits_person": Rule(
        "source", "A source leads only if condition, age, sex and setting fit."
    ),
    "does_not_fit": Rule("source", "The nearest source is not one that fits."),
    "order_of_sources": Rule(
        "source",
        "Of those that fit: own condition, then falls or function, then followed "
        "forward, then published accuracy, then the larger sample.",
    ),
    "row_not_read": Rule("source", "A number recalled and not read never leads."),
    "none_leads": Rule("source", "No source may lead: that is a good answer too."),
    "change_beyond": Rule(
        "change", "Real only if beyond every error published for such people."
    ),
    "change_within": Rule("change", "Within the error, measuring alone explains it."),
    "change_unknown": Rule(
        "change", "Without a published error for such people it cannot be told."
    ),
    "change_sources_differ": Rule(
        "change", "Beyond one source's error and within another's: they disagree."
    ),
    "change_other_set_up": Rule(
        "change", "Another set-up or trial rule is not comparable.", 3
    ),
    "change_ability": Rule(
        "change", "Unable to able, or the reverse, is a change without a number.", 2
    ),
    "line_direction": Rule("line", "The note says which way it moved."),
    "line_set_up": Rule("line", "The note names the set-up as it was."),
    "line_risk_words": Rule("line", "A note says what was found; nobody “is at risk”."),
    "line_compares": Rule("line", "A note compares only what compares.", 3),
}


def weights(history: Sequence[tuple[str, bool]], level: int = 4) -> dict[str, float]:
    """How likely each rule of this level is to come next, against the others.

    `history`: rule and whether it was right, oldest first. Every rule weighs 1, so that
    all come back; one never asked 1 more; else 4 times the share that was wrong in its
    latest five answers. Common practice: no source gives these figures.
    """
    found = {}
    for key, rule in RULES.items():
        if rule.level > level:
            continue
        latest = [right for asked, right in history if asked == key][-LATEST:]
        more = WEAK * latest.count(False) / len(latest) if latest else NEW
        found[key] = ALWAYS + more
    return found


def next_rule(
    history: Sequence[tuple[str, bool]], chance: float, level: int = 4
) -> str:
    """The rule to ask for next; `chance` (0 to below 1) is drawn by the caller."""
    weighed = weights(history, level)
    left = chance * sum(weighed.values())
    for key, weight in weighed.items():
        left -= weight
        if left < 0:
            return key
    return key


def next_level(done: Sequence[tuple[int, int, int]]) -> int:
    """The level to offer: `done` holds level, right and asked of finished exercises.

    Up after two in a row at the same level with at most one step wrong each; down after
    one with less than half right. Common practice; anybody may choose another.
    """
    if not done:
        return LEVELS[0]
    level, right, asked = done[-1]
    if 2 * right < asked:
        return max(LEVELS[0], level - 1)
    last = done[-2:]
    good = all(at == level and of - ok <= 1 for at, ok, of in last)
    return min(LEVELS[-1], level + 1) if len(last) == 2 and good else level
