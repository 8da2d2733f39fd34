"""The last step: the true line of a note between two that differ by one thing."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from app.clinical.change import NOT_COMPARABLE, judge_change
from app.clinical.measure_line import MeasureLine, measure_line
from app.clinical.reading import Result
from app.clinical.readings import better_word, worse_word
from app.clinical.scores import Score
from app.practice.asking import Option, Step
from app.practice.draws import Draws
from app.practice.reading_steps import LETTERS, score_words
from app.practice.scoring_case import ScoringCase, other_values, setup_words

RISK: Final = "This person is at risk."
_WHY: Final = {
    "line_direction": "It says the other direction.",
    "line_set_up": "It names a set-up that was not used.",
    "line_risk_words": "It says that somebody is at risk: a reading never does.",
    "line_compares": "It compares two scores of different set-ups.",
}


def true_line(case: ScoringCase, result: Result) -> MeasureLine:
    return measure_line(result, setup=setup_words(case.measure, case.facts))


def line_step(case: ScoringCase, result: Result, earlier: Score, draws: Draws) -> Step:
    true = true_line(case, result)
    wrong = {
        rule: line
        for rule, line in wrong_lines(case, result, earlier, draws).items()
        if line.text != true.text
    }
    picked = draws.mixed(list(wrong))[:2]
    told = [("", true), *((rule, wrong[rule]) for rule in picked)]
    options = tuple(
        Option(
            LETTERS[place],
            tuple(part for part in line.parts if part),
            not rule,
            _WHY.get(rule, "Every word of it is true."),
            rule or picked[0],
        )
        for place, (rule, line) in enumerate(draws.mixed(told))
    )
    return Step(
        key="line",
        ask="Which line belongs in the note?",
        help="Two of them are wrong in one thing each.",
        kind="one",
        options=options,
        rule=picked[0],
        because="The other two are each wrong in one thing.",
        shown=tuple(_known(case, result)),
    )


def _known(case: ScoringCase, result: Result) -> Iterator[str]:
    """What the steps before this one have told already."""
    yield f"Result: {score_words(case.measure, result.score)}"
    lead = result.leading
    if lead is not None and lead.row is not None:
        yield f"Read first: {case.measure.sources[lead.row.source].short}"
    assert result.change is not None
    yield result.change.says


def wrong_lines(
    case: ScoringCase, result: Result, earlier: Score, draws: Draws
) -> dict[str, MeasureLine]:
    """Each wrong in one thing, made by the same function that makes the true one."""
    setup = setup_words(case.measure, case.facts)
    true = true_line(case, result)
    tested, value, reads, changed, function = true.parts
    risky = (tested, value, f"{reads} {RISK}".strip(), changed, function)
    found = {"line_risk_words": MeasureLine(risky)}
    change = result.change
    assert change is not None
    if change.verdict == NOT_COMPARABLE and earlier.value and result.score.value:
        same = replace(earlier, facts=result.score.facts, variant=result.score.variant)
        as_if = judge_change(case.measure, case.person, result.score, same)
        found["line_compares"] = measure_line(
            replace(result, change=as_if), setup=setup
        )
    elif change.verdict != NOT_COMPARABLE:
        turned = replace(change, says=_turned(result, change.says))
        found["line_direction"] = measure_line(
            replace(result, change=turned), setup=setup
        )
    facts = _another(case, draws)
    found["line_set_up"] = measure_line(result, setup=setup_words(case.measure, facts))
    return found


def _turned(result: Result, says: str) -> str:
    """The same sentence with every word of direction turned round."""
    pairs = (
        (better_word(result.measure), worse_word(result.measure)),
        ("gain", "loss"),
        ("able", "unable"),
    )
    turn = dict(pairs) | {b: a for a, b in pairs}
    turned = (_turn(word, turn) for word in says.split(" "))
    return " ".join(turned)


def _turn(word: str, turn: Mapping[str, str]) -> str:
    bare = word.rstrip(".,:;")
    return turn.get(bare, bare) + word[len(bare) :]


def _another(case: ScoringCase, draws: Draws) -> dict[str, str]:
    """The facts with one of them told otherwise."""
    ways = {}
    for key, value in case.facts.items():
        fact = case.measure.fact(key)
        ways[key] = other_values(fact, value) if fact is not None else []
    key = draws.one([k for k, values in ways.items() if values])
    return {**case.facts, key: draws.one(ways[key])}
