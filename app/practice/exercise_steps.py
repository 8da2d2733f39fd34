"""The first three steps: which trials make the result, the score, the set-up."""

from fractions import Fraction

from app.clinical.quantities import SHOWN_PLACES, words
from app.clinical.scores import NotScorable, Score, TooFewTrials
from app.clinical.scoring import is_zero_by_rule, score
from app.clinical.setup import deviations
from app.practice.asking import MADE, NO_TOTAL, Option, Step
from app.practice.battery_case import part_rule, tables
from app.practice.scoring_case import ScoringCase, Tried, setup_words

#: How many digits of an exact value are told in a reason.
_LONG = 4


def score_of(case: ScoringCase) -> Score:
    """What the real rule makes of a case; NotScorable with what is missing."""
    return score(
        case.measure, case.trials, variant=case.variant.id, facts=case.facts,
        paired=case.paired,
    )  # fmt: skip


def trials_step(case: ScoringCase) -> Step:
    """Which trials, readings or parts make the result."""
    return _parts_step(case) if case.measure.components else _trials_step(case)


def _parts_step(case: ScoringCase) -> Step:
    """A part gives points when the real rule of the battery can take it."""
    options = []
    for place, component in enumerate(case.measure.components, start=1):
        right, rule, why = part_rule(component, case.paired[component.measure])
        told = (case.tried[place - 1].told,)
        options.append(Option(str(place), told, right, why, rule))
    odd = [o.rule for o in options if o.rule != "part_counts"]
    return Step(
        key="trials",
        ask="Which parts give points?",
        help="Tick each part that the battery's points can be read for. A part that "
        "could not be done at all can be worth 0; one left out or done another way "
        "leaves the total open.",
        kind="many",
        options=tuple(options),
        rule=odd[0] if odd else "part_counts",
        because="A total never has a hole in it.",
    )


def _trials_step(case: ScoringCase) -> Step:
    """A trial makes the result when without it the real rule says something else."""
    one = "Reading" if case.measure.kind == "pressure" else "Trial"
    options = []
    for place, tried in enumerate(case.tried):
        right = _says(case, None) != _says(case, place)
        rule, why = _why(tried, right)
        told = (f"{one} {place + 1}: {tried.told}",)
        options.append(Option(str(place + 1), told, right, why, rule))
    odd = [o.rule for o in options if o.rule != "trial_counts"]
    return Step(
        key="trials",
        ask=f"Which {one.lower()}s make the result?",
        help=f"The rule today: {case.variant.label}. Tick each {one.lower()} that the "
        "rule takes, also one it asks for and then leaves out of the number. One that "
        "could not be done can be the result itself.",
        kind="many",
        options=tuple(options),
        rule=odd[0] if odd else "trial_counts",
        because=f"{case.variant.label}: it takes {case.variant.of}."
        + ("" if any(o.right for o in options) else " None of these makes it."),
    )


def _says(case: ScoringCase, without: int | None) -> tuple[object, ...]:
    """What the real rule makes of the trials, one of them left out."""
    kept = [t for place, t in enumerate(case.trials) if place != without]
    try:
        made = score(case.measure, kept, variant=case.variant.id, facts=case.facts)
    except TooFewTrials as few:
        return ("few", few.have)
    except NotScorable as lack:
        return ("no score", str(lack))
    return (made.outcome, made.value, made.parts)


def _why(tried: Tried, right: bool) -> tuple[str, str]:
    trial = tried.trial
    if trial.practice:
        return "practice_trial", "Practice: it is never scored."
    if trial.voided:
        return "void_trial", f"Void: {trial.reason}. It is repeated, not scored."
    if trial.outcome == "unable" and right:
        return "unable_trial", "It could not be done, and that decides the result."
    if trial.outcome == "unable":
        return "unable_trial", "Unable, but the rule has all the trials it takes."
    if right:
        return "trial_counts", "Completed, and the rule takes it."
    return "unable_trial", "Completed, but the test ended unable: that is the result."


def score_step(case: ScoringCase, made: Score | None, lack: NotScorable | None) -> Step:
    """What it comes to; `made` is None when trials, or parts, are lacking."""
    number = made.shown if made is not None else None
    battery = bool(case.measure.components)
    if lack is not None:
        right, because = "few", str(lack)
        rule = "part_missing" if battery else "too_few"
    elif number is None:
        right, rule = "unable", "unable_no_number"
        because = "Unable is the result. It is no 0 and no blank, and has no number."
    else:
        assert made is not None
        right, rule, because = "number", _score_rule(case, made), _made(case, made)
    unit = made.unit if made is not None else case.measure.units[0]
    kinds = MADE | (NO_TOTAL if battery else {})
    options = tuple(Option(k, (w,), k == right, "", rule) for k, w in kinds.items())
    return Step(
        key="score",
        ask="What is the score?",
        help=f"The rule today: {case.variant.label}.",
        kind="score",
        options=options,
        rule=rule,
        because=because,
        shown=tables(case) if battery else (),
        number=number,
        unit=unit,
        exact=made.value if made is not None else None,
    )


def _score_rule(case: ScoringCase, made: Score) -> str:
    if is_zero_by_rule(case.measure, made):
        return "zero_by_rule"
    if case.measure.components:
        unable = any(s.outcome == "unable" for s in case.paired.values())
        return "unable_part_zero" if unable else "points_by_table"
    if case.variant.take == "fall":
        return "fall_rule"
    if case.measure.kind == "speed":
        return "speed_over_course"
    if case.variant.take == "held":
        return "stages_in_order"
    if case.variant.last == 1:
        return "rounding"
    return "mean_rule" if case.variant.take == "mean" else "best_rule"


def _made(case: ScoringCase, made: Score) -> str:
    """How the number came about, with the exact value where it was rounded."""
    assert made.value is not None
    assert made.shown is not None
    said = words(made.shown, made.unit)
    noun = case.measure.noun(made.shown)
    text = (
        f"{case.variant.label}: {said} {noun}".strip() + "." + _from_parts(case, made)
    )
    if made.reason:
        text += f" {made.reason}."
    if Fraction(made.shown) == made.value:
        return text
    exact = f"{float(made.value):.{_LONG}f}".rstrip("0")
    to = {0: "whole numbers", 1: "0.1", 2: "0.01"}[SHOWN_PLACES[made.unit]]
    return f"{text} It was {exact}, shown to {to}: rounded half up, once."


def _from_parts(case: ScoringCase, made: Score) -> str:
    """How parts or readings came together, where the score is made of them."""
    if case.measure.components:
        sums = " + ".join(f"{p.label} {p.value}" for p in made.parts.values())
        return f" {sums} = {made.value}."
    if case.variant.take != "fall" or made.value is None:
        return ""
    first = made.parts["lying_systolic"].value
    return (
        f" From {first} in the first reading to {first - made.value}, the lowest of "
        "those at 1 and 3 minutes of standing."
    )


def set_up_step(case: ScoringCase) -> Step:
    """Whether it was the published set-up, by what the test's file says of it."""
    off = deviations(case.measure, case.facts)
    standard = not off
    rule = "set_up_standard" if standard else "set_up_off"
    because = (
        "Every stated fact is as published: " + setup_words(case.measure, case.facts)
        if standard
        else "Not as published: " + "; ".join(d.says for d in off)
    )
    options = (
        Option("a", ("Yes: it is the published set-up",), standard, "", rule),
        Option("b", ("No: something is not as published",), not standard, "", rule),
    )
    return Step(
        key="set_up",
        ask="Do the usual norms and cut-offs apply to this set-up?",
        help="Your test's own page says what the published set-up is. "
        "Facts that are not stated are taken to be as usual.",
        kind="one",
        options=options,
        rule=rule,
        because=f"{because}.",
        shown=tuple(_published(case)),
    )


def _published(case: ScoringCase) -> list[str]:
    """What is published of the lengths; of the choices it is to be known."""
    return [
        f"Published: {fact.label.lower()}: {fact.standard_says}"
        for key in case.facts
        if (fact := case.measure.fact(key)) and fact.kind == "length"
        and fact.standard_says
    ]  # fmt: skip
