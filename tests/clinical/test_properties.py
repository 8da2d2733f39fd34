"""What must hold for every test and every published row, whatever the numbers."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.catalogue.conditions import units_of
from app.catalogue.load import catalogue
from app.clinical import vocabulary as words
from app.clinical.composite import Band
from app.clinical.cutoff_reading import read_cutoff, read_ladder
from app.clinical.fit import Match
from app.clinical.measure import Cutoff, Fit, Measure, Norm
from app.clinical.norm_reading import read_norm
from app.clinical.person import Person
from app.clinical.quantities import SAME_KIND, SHOWN_PLACES, convert, printed_places
from app.clinical.reading import Result, read
from app.clinical.scoring import Part, Score, Trial, score

SHELF = catalogue().measures
CUTOFFS = [
    pytest.param(m, row, id=f"{m.id}-{row.key}")
    for m in SHELF.values()
    for row in m.cutoffs
]
NORMS = [
    pytest.param(m, row, id=f"{m.id}-{row.key}")
    for m in SHELF.values()
    for row in m.norms
    if row.limit is not None or row.ci95 is not None
]
#: Very fast walkers fell outdoors: the upper end of a U, on one ladder with the lower.
BETTER_SIDE = {("gait_speed", "quach2011", "at_or_above")}
STEP = {"count": 1, "stages": 1, "points": 1, "mmHg": 1, "bpm": 1}


def held(m: Measure, value: Fraction, unit: str, quantity: str = "score") -> Score:
    """A score of that value, or one that holds it as a quantity beside."""
    blank = Score(m.id, "completed", m.variants[0].id, m.units[0], Fraction(1))
    if quantity == "score":
        return replace(blank, unit=unit, value=value)
    return replace(blank, parts={quantity: Part(value, unit, quantity)})


def crossed(m: Measure, row: Cutoff, value: Fraction, unit: str) -> bool:
    made = read_cutoff(m, row, held(m, value, unit, row.fit.quantity), Match())
    assert made is not None
    assert made.crossed is not None
    return made.crossed


class TestEdges:
    """Every printed limit of the catalogue, at it and a step to either side."""

    @pytest.mark.parametrize(("m", "row"), CUTOFFS)
    def test_cutoff_follows_its_sources_direction(
        self, m: Measure, row: Cutoff
    ) -> None:
        places = max(SHOWN_PLACES[row.unit], printed_places(row.value))
        step, edge = Fraction(1, 10**places), Fraction(row.value)
        found = [crossed(m, row, edge + n * step, row.unit) for n in (-1, 0, 1)]

        assert (
            found
            == {
                "above": [False, False, True],
                "at_or_above": [False, True, True],
                "below": [True, False, False],
                "at_or_below": [True, True, False],
            }[row.direction]
        )

    @pytest.mark.parametrize(("m", "row"), NORMS)
    def test_limit_of_a_norm_lies_on_the_worse_side(
        self, m: Measure, row: Norm
    ) -> None:
        """A mean's limit and a limit of normal are not beyond at the limit itself; the
        start of the slowest fifth is."""
        lower = m.better == "lower"
        limit = row.limit if row.limit is not None else (row.ci95 or ())[lower]
        places = max(SHOWN_PLACES[row.unit], printed_places(limit))
        worse = Fraction(1, 10**places) * (1 if lower else -1)
        found = []
        for n in (-1, 0, 1):
            value = Fraction(limit) + n * worse
            made = read_norm(
                m, row, held(m, value, row.unit, row.fit.quantity), Match()
            )
            assert made is not None
            found.append(made.crossed)

        assert found == [False, row.limit_kind == "fifth", True]

    @pytest.mark.parametrize(
        "band",
        [b for m in SHELF.values() for b in m.bands],
        ids=lambda b: f"{b.quantity}-{b.points}",
    )
    def test_band_holds_its_edges_as_its_source_says(self, band: Band) -> None:
        if band.low is not None:
            assert band.holds(band.low) is band.low_inside
            assert not band.holds(band.low - Decimal("0.01"))
        if band.high is not None:
            assert band.holds(band.high) is band.high_inside
            assert not band.holds(band.high + Decimal("0.01"))

    def test_only_known_limits_lie_on_the_better_side(self) -> None:
        found = {
            (m.id, row.source, row.direction)
            for m in SHELF.values()
            for row in m.cutoffs
            if row.fit.quantity == "score"
            and row.direction.endswith("above") != (m.better == "lower")
        }

        assert found == BETTER_SIDE


@st.composite
def two_values(draw: st.DrawFn) -> tuple[Measure, str, Fraction, Fraction]:
    """A measure, a unit of it, and two raw values, the better one first."""
    m = draw(st.sampled_from(list(SHELF.values())))
    unit = draw(st.sampled_from(m.units))
    low, high = m.tape[unit].low, m.tape[unit].high * 2
    numbers = st.integers(max(0, int(low * 1000)), int(high * 1000))
    thousandths = sorted((draw(numbers), draw(numbers)))
    scale = 1000 if unit in STEP else 1  # whole ones stay whole
    a, b = (Fraction(n // scale * scale, 1000) for n in thousandths)
    return (m, unit, a, b) if m.better == "lower" else (m, unit, b, a)


@given(two_values())
def test_better_value_never_reads_worse_by_any_limit(
    drawn: tuple[Measure, str, Fraction, Fraction],
) -> None:
    m, unit, better, worse = drawn
    for row in m.cutoffs:
        if row.fit.quantity == "score" and (
            (m.id, row.source, row.direction) not in BETTER_SIDE
        ):
            assert crossed(m, row, better, unit) <= crossed(m, row, worse, unit), row


@given(two_values())
def test_better_value_never_has_a_worse_place_among_the_healthy(
    drawn: tuple[Measure, str, Fraction, Fraction],
) -> None:
    m, unit, *_ = drawn
    for row in m.norms:
        if row.fit.quantity != "score" or row.share is not None:
            continue
        good, bad = (read_norm(m, row, held(m, v, unit), Match()) for v in drawn[2:])
        assert good is not None
        assert bad is not None
        assert (good.crossed or False) <= (bad.crossed or False)
        if good.percentile is not None and bad.percentile is not None:
            assert good.percentile >= bad.percentile


@given(two_values())
def test_better_value_never_stands_on_a_worse_rung(
    drawn: tuple[Measure, str, Fraction, Fraction],
) -> None:
    m, unit, better, worse = drawn
    for ladder in {r.ladder for r in m.cutoffs if r.ladder} - {"quach2011"}:
        rungs = [(r, Match()) for r in m.cutoffs if r.ladder == ladder]
        if any(r.fit.quantity != "score" for r, _ in rungs):
            continue
        limits = []
        for value in (better, worse):
            said = read_ladder(m, rungs, held(m, value, unit))
            limits.append([r.threshold for r in said if r.crossed])
        sign = 1 if m.better == "lower" else -1
        reached = [max((sign * (t or 0) for t in ts), default=None) for ts in limits]
        assert reached[0] is None or (
            reached[1] is not None and reached[0] <= reached[1]
        )


#: People of every kind, also those of whom nothing is known.
PEOPLE = st.builds(
    Person,
    ages=st.one_of(
        st.just(()),
        st.integers(18, 100).map(lambda n: (n,)),
        st.integers(18, 100).map(lambda n: (n, n + 1)),
    ),
    sex=st.sampled_from([None, *words.SEXES]),
    conditions=st.lists(
        st.sampled_from(list(words.CONDITIONS)), max_size=2, unique=True
    ).map(tuple),
    setting=st.sampled_from([None, *words.SETTINGS]),
    facts=st.fixed_dictionaries(
        {},
        optional={
            key: st.sampled_from(list(known))
            for key, known in words.PERSON_FACTS.items()
        },
    ),
)


def verdicts(result: Result) -> list[tuple[object, ...]]:
    return sorted(
        (r.row.key, r.matched, r.crossed) for r in result.readings if r.row is not None
    )


@settings(max_examples=60)
@given(st.data())
def test_unit_of_entry_never_changes_a_verdict(data: st.DataObject) -> None:
    """The same length in inches or centimetres, the same speed in metres or feet."""
    several = [m for m in SHELF.values() if len(m.units) > 1]
    assert {m.kind for m in several} == {"distance", "speed"}
    m = data.draw(st.sampled_from(several))
    person = data.draw(PEOPLE)
    first, other = m.units
    span = m.tape[first]
    value = Fraction(data.draw(st.integers(1, int(span.high * 200))), 100)

    once = read(m, held(m, value, first), person)
    again = read(m, held(m, convert(value, first, other), other), person)

    assert verdicts(once) == verdicts(again)
    assert (once.lead and once.lead.index) == (again.lead and again.lead.index)


@settings(max_examples=60)
@given(st.data())
def test_trial_in_another_unit_makes_the_same_score(data: st.DataObject) -> None:
    m = data.draw(st.sampled_from([m for m in SHELF.values() if m.kind == "distance"]))
    rule = m.variants[0]
    tenths = data.draw(st.lists(st.integers(20, 200), min_size=rule.of,
                                max_size=rule.of))  # fmt: skip
    inches = [Trial("completed", Decimal(n) / 10, "in") for n in tenths]
    cm = [
        Trial("completed", (t.value or Decimal(0)) * Decimal("2.54"), "cm")
        for t in inches
    ]

    a, b = score(m, inches).value, score(m, cm).value
    assert a is not None
    assert b is not None
    assert convert(a, "in", "cm") == b


def plain_trials(m: Measure, data: st.DataObject) -> list[Trial]:
    """As many completed trials as the first rule takes."""
    rule = m.variants[0]
    if m.kind == "pressure":
        whens = ("lying", "standing_1", "standing_3", "at_once")[: rule.of]
        return [
            Trial("completed", Decimal(data.draw(st.integers(80, 200))), "mmHg",
                  inputs={"when": when})
            for when in whens
        ]  # fmt: skip
    if m.kind == "stages":
        return [Trial("completed", stage.hold, "s") for stage in m.stages[: rule.of]]
    unit = m.trial_units[0]
    numbers = st.integers(int(m.lowest) + 1, min(60, int(m.highest)))
    return [
        Trial("completed", Decimal(data.draw(numbers)), unit) for _ in range(rule.of)
    ]


@given(st.data())
def test_uncounted_trial_never_changes_any_score(data: st.DataObject) -> None:
    """Practice and voided ones, of every outcome, at every place, in every test."""
    m = data.draw(st.sampled_from([m for m in SHELF.values() if m.kind != "composite"]))
    facts = {"course": next(iter(m.course))} if m.course else {}
    counted = plain_trials(m, data)
    extra = data.draw(
        st.builds(
            Trial,
            outcome=st.sampled_from(list(words.OUTCOMES)),
            value=st.integers(1, 90).map(Decimal),
            unit=st.just(m.trial_units[0]),
            voided=st.booleans(),
            practice=st.booleans(),
            inputs=st.just(counted[0].inputs),
        ).filter(lambda t: t.voided or t.practice)
    )
    place = data.draw(st.integers(0, len(counted)))

    plain = score(m, counted, facts=facts)
    assert score(m, [*counted[:place], extra, *counted[place:]], facts=facts) == plain


class TestNobodyIsMatched:
    """An independent, plainer reading of a row's key: it must allow what is matched."""

    @settings(max_examples=150)
    @given(st.data())
    def test_without_a_row_that_allows_it(self, data: st.DataObject) -> None:
        m = data.draw(st.sampled_from(list(SHELF.values())))
        person = data.draw(PEOPLE)
        facts = data.draw(_facts(m))
        unit = m.units[0]
        value = Fraction(data.draw(st.integers(1, int(m.tape[unit].high))))
        unable = data.draw(st.booleans())
        made = replace(held(m, value, unit), facts=facts)
        if unable:
            made = replace(made, outcome="unable", value=None)
        for reading in read(m, made, person).readings:
            if reading.matched and reading.row is not None:
                fit = reading.row.fit
                assert _allows(fit, person), (m.id, reading.row.key, person)
                assert _setup_allows(m, fit, facts), (m.id, reading.row.key, facts)

    @pytest.mark.parametrize("m", SHELF.values(), ids=lambda m: m.id)
    def test_somebody_of_18_is_matched_by_no_row_of_older_people(
        self, m: Measure
    ) -> None:
        young = Person((18,), "female", (), "community")
        found = read(m, held(m, Fraction(5), m.units[0]), young)

        for reading in found.readings:
            if reading.matched and reading.row is not None:
                fit = reading.row.fit
                assert (fit.age_min or 0) <= 18
                assert fit.condition == "any" or (fit.age_min, fit.age_max) != (
                    None, None,
                )  # fmt: skip


@st.composite
def _facts(draw: st.DrawFn, m: Measure) -> Mapping[str, str]:
    choices = {f.key: sorted(f.options) for f in m.facts if f.options}
    keys = draw(st.lists(st.sampled_from(sorted(choices)), max_size=3, unique=True))
    return {key: draw(st.sampled_from(choices[key])) for key in keys}


def _allows(fit: Fit, person: Person) -> bool:
    if fit.condition in words.CONDITIONS and fit.condition not in person.conditions:
        return False
    low, high = fit.age_min, fit.age_max
    if fit.condition in ("none", "older_adult") and low is None and high is None:
        low = 60
    ages = [a for a in person.ages if (low or 0) <= a <= (high or 999)]
    if fit.ages_unknown or (person.ages and not ages):
        return False
    if fit.sex and person.sex and fit.sex != person.sex:
        return False
    stated = {k: v for k, v in person.facts.items() if k in fit.requires_person}
    if any(value not in fit.requires_person[key] for key, value in stated.items()):
        return False
    elsewhere = {"institution"}  # nobody in a care home is read as living at home
    if fit.settings and person.setting in elsewhere:
        return person.setting in fit.settings
    return True


def _setup_allows(m: Measure, fit: Fit, facts: Mapping[str, str]) -> bool:
    for key, value in facts.items():
        fact = m.fact(key)
        assert fact is not None
        if key in fit.requires:
            if value not in fit.requires[key]:
                return False
        elif fact.standard and value not in fact.standard:
            return False
    return True


def test_every_row_speaks_of_something_its_test_has() -> None:
    """So that none of the loops above passes over a row in silence."""
    for m in SHELF.values():
        rows: list[Cutoff | Norm] = [*m.cutoffs, *m.norms]
        for row in rows:
            own = units_of(m, row.fit.quantity)
            alike = {unit for kind in SAME_KIND if row.unit in kind for unit in kind}
            assert own & (alike | {row.unit}), (m.id, row.key)
