"""An invented person, set-up, trials and an earlier score for one test, from a seed.

Only what happened is made here; what follows from it is asked of the real functions.
Numbers are drawn round values that the test's own sources print, so that they are
plausible; nobody was measured.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from fractions import Fraction
from typing import Final

from app.clinical.measure import Fact, Fit, Measure, Row, Variant
from app.clinical.person import Person
from app.clinical.quantities import alike, convert, words
from app.clinical.scores import Score, Trial
from app.clinical.setup import asked, fact_words
from app.clinical.vocabulary import CONDITIONS, PERSON_FACTS, SETTINGS, UNABLE_REASONS
from app.practice.draws import Draws, cut

#: How often something happens at each level. Ours: difficulty grows by more of it.
_OFTEN: Final[Mapping[str, tuple[float, float, float, float]]] = {
    "practice": (0.6, 0.4, 0.4, 0.6),
    "void": (0.0, 0.5, 0.4, 0.6),
    "unable": (0.0, 0.3, 0.25, 0.25),
    "few": (0.0, 0.0, 0.15, 0.2),
    "off": (0.25, 0.25, 0.35, 0.4),
    "zero": (0.0, 0.15, 0.2, 0.2),
    "other_before": (0.0, 0.0, 0.3, 0.35),
    "unable_before": (0.0, 0.1, 0.1, 0.1),
    "more_of_person": (0.9, 0.9, 0.7, 0.7),
}
#: Why a trial was voided; any test. Common practice.
_VOIDS: Final = (
    "somebody walked in and it was broken off",
    "the person had not been ready and asked to begin again",
)
_MORE_VOIDS: Final[Mapping[str, tuple[str, ...]]] = {
    "time": ("the clock was started after the person had begun",),
    "speed": ("the clock was started after the person had begun",),
    "stages": ("the clock was started before the position was taken up",),
    "distance": ("the tape slipped down the wall",),
    "count": ("the clock was stopped before its time was up",),
}
#: The earlier score as a multiple of this one: clear, middling and small changes.
BEFORE: Final = ((0.55, 0.7), (0.8, 0.9), (0.95, 1.05), (1.1, 1.25), (1.4, 1.8))


@dataclass(frozen=True, slots=True)
class Tried:
    """One attempt, and what is told of it."""

    trial: Trial
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoringCase:
    """What happened. `before` are the trials of the earlier day, all counted.

    `paired` and `before_paired`: of a battery the scores of its parts, by their tests.
    """

    measure: Measure
    person: Person
    variant: Variant
    facts: Mapping[str, str]
    tried: tuple[Tried, ...]
    before_facts: Mapping[str, str]
    before: tuple[Trial, ...]
    paired: Mapping[str, Score] = field(default_factory=dict)
    before_paired: Mapping[str, Score] = field(default_factory=dict)

    @property
    def trials(self) -> tuple[Trial, ...]:
        """Of a battery none: `tried` are its parts, `paired` their scores."""
        return () if self.measure.components else tuple(t.trial for t in self.tried)


def takes(measure: Measure) -> bool:
    """Whether there are exercises of a test: all but a power, which is computed."""
    known = ("time", "speed", "stages", "count", "distance", "pressure")
    return measure.formula == "points" or (
        measure.kind in known and not measure.components
    )


def often_at(level: int) -> dict[str, float]:
    """How often each thing happens at a level."""
    return {key: chances[level - 1] for key, chances in _OFTEN.items()}


def make_case(measure: Measure, level: int, seed: int) -> ScoringCase:
    """Of one that is timed, counted or reached."""
    draws, often = Draws(seed), often_at(level)
    row = example(measure, draws)
    person = person_near(row, draws, often["more_of_person"])
    variant = draws.one(measure.variants)
    if row is not None and row.fit.variant:
        variant = measure.variant(row.fit.variant)
    facts = _standard(measure, person, draws)
    if row is not None:
        facts |= {key: values[0] for key, values in row.fit.requires.items()}
    before_facts = dict(facts)
    if draws.happens(often["off"]):
        facts = before_facts = {**facts, **one_off(measure, person, draws)}
    if measure.zero is not None and draws.happens(often["zero"]):
        key, values = next(iter(measure.zero.when.items()))
        facts = {**facts, key: values[0]}
    if draws.happens(often["other_before"]):
        before_facts = {**before_facts, **_other(measure, facts, draws)}
    centre = centre_of(measure, facts, draws)
    tried = _tried(measure, variant, facts, centre, draws, often)
    low, high = draws.one(BEFORE)
    earlier = centre * draws.between(low, high)
    before = _good(measure, variant, before_facts, earlier, draws)
    able_now = all(t.trial.outcome == "completed" for t in tried)
    if draws.happens(often["unable_before"]) and able_now:
        before = [Trial("unable", reason="physical")]
    return ScoringCase(
        measure=measure,
        person=person,
        variant=variant,
        facts=facts,
        tried=tuple(tried),
        before_facts=before_facts,
        before=tuple(before),
    )


def example(measure: Measure, draws: Draws) -> Row | None:
    """A published row that the case is made near to, most of them about change."""
    errors = [
        r
        for r in measure.reliability
        if r.kind == "test_retest" and (r.sem or r.mdc95 or r.mdc_percent)
    ]
    rows: list[Row] = [*measure.cutoffs, *measure.norms]
    pool = errors if errors and draws.happens(0.65) else rows
    return draws.one(pool) if pool else None


def person_near(row: Row | None, draws: Draws, more: float) -> Person:
    """Somebody whom the row may speak of; now and then it just does not."""
    fit = row.fit if row is not None else Fit()
    low = max(fit.age_min or 61, 18)
    high = max(low, min(fit.age_max or 88, low + 27))
    age = draws.whole(low, high)
    asks = {k: draws.one(list(v)) for k, v in fit.requires_person.items()}
    settings = fit.settings or ("community", "outpatient", "home_care", "inpatient")
    setting = draws.one(settings)
    sex = draws.one(("female", "male"))
    strays = draws.happens(0.25)
    return Person(
        ages=(age + 12 if strays and age < 80 else age,),
        sex=fit.sex or sex,
        conditions=(fit.condition,) if fit.condition in CONDITIONS else (),
        setting=setting,
        facts={key: value for key, value in asks.items() if draws.happens(more)},
    )


def person_words(person: Person) -> tuple[str, ...]:
    """`Woman of 74, living in the community`, then conditions and what is known."""
    who = {"female": "Woman", "male": "Man"}[person.sex or "female"]
    known = [CONDITIONS[c] for c in person.conditions] or ["no condition that matters"]
    known += [PERSON_FACTS[key][value] for key, value in person.facts.items()]
    where = SETTINGS[person.setting or "community"]
    return (f"{who} of {person.ages[0]}, {where}", *known)


def _standard(measure: Measure, person: Person, draws: Draws) -> dict[str, str]:
    """What is asked at once and what the score needs, as in the published set-up."""
    return {
        fact.key: _on(fact, draws)
        for fact in asked(measure, person.conditions)
        if (fact.main or fact.needed) and fact.kind != "number"
    }


def setup_fact(measure: Measure, key: str, draws: Draws) -> str:
    """One named fact as published, or as it may be."""
    fact = measure.fact(key)
    assert fact is not None
    return _on(fact, draws)


def _on(fact: Fact, draws: Draws) -> str:
    if fact.kind == "length":
        unit, span = next(iter(fact.spans.items()))
        halves = int((span.high - span.low) * 2)
        return f"{span.low + Decimal(draws.whole(0, halves)) / 2} {unit}"
    if fact.default and (not fact.standard or fact.default in fact.standard):
        return fact.default
    return draws.one(fact.standard or tuple(fact.options))


def one_off(measure: Measure, person: Person, draws: Draws) -> dict[str, str]:
    """One fact that is not as published."""
    ways = {
        f.key: values
        for f in asked(measure, person.conditions)
        if (values := _off_values(f))
    }
    key = draws.one(list(ways)) if ways else ""
    return {key: draws.one(ways[key])} if key else {}


def _off_values(fact: Fact) -> list[str]:
    if fact.kind == "choice" and fact.standard:
        return [v for v in fact.options if v not in fact.standard]
    if fact.kind == "length" and fact.spans:
        unit, span = next(iter(fact.spans.items()))
        return [f"{span.high + 2} {unit}", f"{span.low - 2} {unit}"]
    return []


def _other(measure: Measure, facts: Mapping[str, str], draws: Draws) -> dict[str, str]:
    """One stated fact as it was otherwise, of those that must be the same."""
    ways = {}
    for key, value in facts.items():
        fact = measure.fact(key)
        if fact is not None and fact.for_change:
            ways[key] = other_values(fact, value)
    able = [key for key, values in ways.items() if values]
    key = draws.one(able) if able else ""
    return {key: draws.one(ways[key])} if key else {}


def other_values(fact: Fact, value: str) -> list[str]:
    """What a fact could have been instead."""
    if fact.kind == "choice":
        return [v for v in fact.options if v != value]
    number, _, unit = value.partition(" ")
    return [f"{Decimal(number) + 2} {unit}"] if unit else []


def setup_words(measure: Measure, facts: Mapping[str, str]) -> str:
    """Every stated fact, in the order of the test's file."""
    said = [fact_words(f, facts[f.key]) for f in measure.facts if f.key in facts]
    return " · ".join(said)


def centre_of(measure: Measure, facts: Mapping[str, str], draws: Draws) -> float:
    """A plausible number of one trial, in the unit a trial is taken in."""
    unit = measure.units[0]
    limits = [(c.value, c.unit, c.fit) for c in measure.cutoffs]
    means = [(n.mean, n.unit, n.fit) for n in measure.norms if n.mean is not None]
    printed = [
        float(convert(Fraction(value), of, unit))
        for value, of, fit in (*limits, *means)
        if alike(of, unit) and fit.quantity == "score" and value > 0
    ]
    near = draws.one(printed) if printed else float(measure.lowest) * 4
    value = near * draws.between(0.75, 1.3)
    if measure.kind == "speed":
        return float(measure.course[facts["course"]]) / value
    return value


def _one_trial(
    measure: Measure, facts: Mapping[str, str], centre: float, draws: Draws
) -> Trial:
    """A completed trial near the centre, inside what a trial can be."""
    unit = measure.trial_units[0]
    value = centre * draws.between(0.93, 1.07)
    low, high = float(measure.lowest), float(measure.highest)
    ceiling = measure.ceiling(facts)
    high = min(high, float(ceiling)) if ceiling else high
    places = 0 if measure.kind == "count" else 1 if measure.kind == "distance" else 2
    return Trial("completed", cut(min(max(value, low), high), places), unit)


def _good(
    measure: Measure,
    variant: Variant,
    facts: Mapping[str, str],
    centre: float,
    draws: Draws,
) -> list[Trial]:
    """As many completed trials as the rule takes; of stages until one is missed."""
    if variant.take != "held":
        return [_one_trial(measure, facts, centre, draws) for _ in range(variant.of)]
    trials: list[Trial] = []
    missed = draws.whole(1, variant.of + 1)
    for number, stage in enumerate(measure.stages[: variant.of], start=1):
        if number == missed:
            short = draws.between(1.5, float(stage.hold) - 0.5)
            return [*trials, Trial("completed", cut(short, 2), "s")]
        trials.append(Trial("completed", stage.hold, "s"))
    return trials


def _tried(
    measure: Measure,
    variant: Variant,
    facts: Mapping[str, str],
    centre: float,
    draws: Draws,
    often: Mapping[str, float],
) -> list[Tried]:
    """The trials of today, with what made some of them not count."""
    trials = _good(measure, variant, facts, centre, draws)
    kinds = {key: draws.happens(often[key]) for key in often}
    reason = draws.one(list(UNABLE_REASONS))
    if kinds["unable"]:
        trials = _with_unable(variant, trials, reason, draws.happens(0.6))
    elif kinds["few"]:
        trials = trials[:-1]
    found = [
        Tried(t, trial_words(measure, variant, t, i)) for i, t in enumerate(trials)
    ]
    voided, practice = (
        _not_counted(measure, variant, facts, centre, draws) for _ in range(2)
    )
    why = draws.one((*_VOIDS, *_MORE_VOIDS.get(measure.kind, ())))
    place = draws.whole(0, len(found))
    if kinds["void"]:
        trial = replace(voided, voided=True, reason=why)
        found.insert(place, Tried(trial, f"{_number(measure, trial)} · {why}"))
    if kinds["practice"] or not found:
        trial = replace(practice, practice=True)
        found.insert(0, Tried(trial, f"{_number(measure, trial)} · practice"))
    return found


def _not_counted(
    measure: Measure,
    variant: Variant,
    facts: Mapping[str, str],
    centre: float,
    draws: Draws,
) -> Trial:
    """A number as likely as the others: nothing about it says that it is void."""
    if variant.take == "held":
        return Trial("completed", cut(draws.between(1.5, 9), 2), "s")
    return _one_trial(measure, facts, centre, draws)


def _with_unable(
    variant: Variant, trials: Sequence[Trial], reason: str, is_result: bool
) -> list[Trial]:
    """Unable as the result, or an unable try that was done after all."""
    unable = Trial("unable", reason=reason)
    if variant.take == "held":  # a stage that could not be taken up ends the test
        return [*trials[:-1], unable]
    return [*trials[:-1], unable] if is_result else [unable, *trials]


def trial_words(measure: Measure, variant: Variant, trial: Trial, place: int) -> str:
    """What is told of a trial that nothing was wrong with."""
    said = _number(measure, trial)
    if trial.outcome == "unable":
        said = f"unable: {UNABLE_REASONS[trial.reason]}"
    if variant.take == "held":
        stage = measure.stages[place]
        return f"{stage.label}, {stage.hold} s asked: {said}"
    return said


def _number(measure: Measure, trial: Trial) -> str:
    if trial.value is None:
        return ""
    return f"{words(trial.value, trial.unit)} {measure.noun(trial.value)}".strip()
