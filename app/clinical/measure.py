"""The shape of a catalogue entry: one standardised test, every published row of it.

Values only, frozen after loading. Numbers from sources are Decimals exactly as printed;
what a row may be compared with is said by keys (`Fit`), never only by its note. Rows
and tests are told apart as objects (`eq=False`): an edition's never pass for another's.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

from app.clinical.clauses import Caution, Clause
from app.clinical.composite import Band, Component, Stage
from app.clinical.guide import Check, Guide
from app.clinical.phases import Phase
from app.clinical.source import Source
from app.clinical.vocabulary import How

Direction = Literal["above", "at_or_above", "below", "at_or_below"]
Better = Literal["lower", "higher"]
EMPTY: Mapping[str, tuple[str, ...]] = {}


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Fit:
    """Whom and what a row speaks of.

    An absent age means the sample's ages are not known; `requires` lists set-up facts
    and `requires_person` facts of the person, each with the values that fit.
    `when_any` and `when_all` are limits on what the score holds, of which one or all
    must be met; `when_missing` names a quantity that must not have been measured.
    """

    condition: str = "any"
    settings: tuple[str, ...] = ()
    group: str = "general"
    age_min: int | None = None
    age_max: int | None = None
    ages_unknown: bool = False
    whole_sample: bool = False
    sex: str | None = None
    quantity: str = "score"
    variant: str | None = None
    requires: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    requires_person: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    when_any: tuple[Clause, ...] = ()
    when_all: tuple[Clause, ...] = ()
    when_missing: str | None = None


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Row:
    """What all published rows share. `key` is table and place, e.g. `cutoff 3`."""

    key: str
    source: str
    how: How
    fit: Fit
    population: str
    n: int | None = None
    note: str = ""
    read_in: str = ""


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Norm(Row):
    """Scores of a sample: spread, interval of the mean, percentiles or a limit.

    `limit_kind` says what `limit` is: the end of the confidence interval of a mean
    (`average`), a published limit of normal (`normal`), or the start of the slowest
    fifth (`fifth`). A skewed spread gives no z. `share`: how many of the sample (0..1)
    reached `limit` or, in a test of stages, held the stage of the row's quantity.
    """

    unit: str
    mean: Decimal | None = None
    sd: Decimal | None = None
    share: Decimal | None = None
    ci95: tuple[Decimal, Decimal] | None = None
    limit: Decimal | None = None
    limit_kind: str | None = None
    percentiles: Mapping[int, Decimal] = field(default_factory=dict)
    skewed: bool = False
    no_verdict: bool = False


@dataclass(frozen=True, slots=True)
class Effect:
    """A ratio published with a limit, e.g. an odds ratio with its 95 % interval."""

    kind: Literal["odds_ratio", "relative_risk", "rate_ratio", "hazard_ratio"]
    value: Decimal
    ci95: tuple[Decimal, Decimal] | None = None
    adjusted: bool = False


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Cutoff(Row):
    """A published limit, what lies beyond it, and how well it told people apart."""

    direction: Direction
    value: Decimal
    unit: str
    outcome: str
    outcome_type: str
    design: str
    sensitivity: Decimal | None = None
    specificity: Decimal | None = None
    auc: Decimal | None = None
    effect: Effect | None = None
    ladder: str | None = None
    event: str = ""  # what was counted, and over which time; empty: not told
    horizon: str = ""
    no_verdict: bool = False


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class UnableRow(Row):
    """What a source says of people who could not do the test."""

    outcome: str
    outcome_type: str
    design: str
    effect: Effect | None = None


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Reliability(Row):
    """Agreement and error of repeating the test.

    `gain_percent`/`loss_percent` are lopsided limits in percent of the baseline;
    `limits` are published limits of agreement in the row's unit.
    """

    kind: Literal["test_retest", "inter_rater", "intra_rater"]
    unit: str
    icc: Decimal | None = None
    sem: Decimal | None = None
    mdc95: Decimal | None = None
    mdc90: Decimal | None = None
    mdc_percent: Decimal | None = None
    gain_percent: Decimal | None = None
    loss_percent: Decimal | None = None
    limits: tuple[Decimal, Decimal] | None = None
    level_stated: bool = True
    interval: str = ""
    same_session: bool = False
    baseline_min: Decimal | None = None
    baseline_max: Decimal | None = None
    no_verdict: bool = False


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class ImportantChange(Row):
    """The smallest change that mattered, against a stated anchor."""

    value: Decimal
    unit: str
    direction: Literal["increase", "decrease"]
    anchor: str
    baseline_min: Decimal | None = None
    baseline_max: Decimal | None = None
    no_verdict: bool = False


@dataclass(frozen=True, slots=True)
class ProtocolNote:
    """How a source says the test is done, or what it says of reading it."""

    item: str
    text: str
    how: How
    source: str
    note: str = ""
    read_in: str = ""


@dataclass(frozen=True, slots=True)
class Span:
    """A standard range of a measured fact in one unit, both ends inside."""

    low: Decimal
    high: Decimal


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Fact:
    """One thing about the set-up that decides what a score may be compared with.

    A choice has `options` (value -> words); a length has `spans` by unit. `standard`
    holds the values of the published set-up (empty: any). `for_change`: must be the
    same at both tests. `easier`: values, or "over"/"under" for lengths, that make the
    test easier. `when_condition`: asked only of people with one of these. `main`:
    asked at once, the others a tap away. `needed`: without it there is no score.
    `kinds`: a shared fact that only tests of these kinds have.
    """

    key: str
    label: str
    kind: Literal["choice", "length", "number"]
    options: Mapping[str, str] = field(default_factory=dict)
    default: str | None = None
    standard: tuple[str, ...] = ()
    spans: Mapping[str, Span] = field(default_factory=dict)
    standard_says: str = ""
    for_change: bool = True
    easier: tuple[str, ...] = ()
    when_condition: tuple[str, ...] = ()
    main: bool = False
    needed: bool = False
    kinds: tuple[str, ...] = ()
    help: str = ""


@dataclass(frozen=True, slots=True)
class Variant:
    """A rule from trials to one score: `take` of the last `last` of `of` counted.

    `held` counts stages held in order; `fall` is the largest fall of pressure from the
    first reading; `made` computes from other tests and takes no trials (`of` = 0).
    """

    id: str
    label: str
    take: Literal["mean", "best", "held", "fall", "made"]
    of: int
    last: int
    practice: int = 0
    source: str = ""


@dataclass(frozen=True, slots=True)
class Input:
    """Something entered beside the trial, e.g. how many numbers were said.

    A choice has `options`; `needed` ones must be there for a trial to count. A `tally`
    is counted at the touch while the clock runs.
    """

    key: str
    label: str
    kind: Literal["count", "seconds", "yes_no", "choice"]
    low: int = 0
    high: int = 999
    options: Mapping[str, str] = field(default_factory=dict)
    needed: bool = False
    tally: bool = False


@dataclass(frozen=True, slots=True)
class Pair:
    """A score made from this test and another one done the same day.

    `same`: set-up facts that must be alike in both.
    """

    measure: str
    quantity: str
    rule: Literal["difference", "dual_task_effect"]
    label: str
    unit: str
    same: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Zero:
    """When the test's own rule scores a count 0, whatever was counted.

    `when`: set-up facts and the values that do it; `input`: a tick beside the trial
    that does it too. The count itself is kept beside the score as `quantity`.
    """

    when: Mapping[str, tuple[str, ...]]
    input: str
    quantity: str
    label: str
    says: str
    button: str
    source: str


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Measure:
    """One standardised test. On screen it is called a test.

    A count is made within `window_seconds`, of what `counted` names (one, many), and
    `last_one` says whether one under way at its end counts; a hold
    that lasts `ceiling_seconds`, or the seconds that the fact `ceiling_fact` says, ends
    there. `course` gives the metres of each value of the fact `course`: with it a time
    becomes a speed. `formula` says how a composite is made from its `components`.
    `needs` is the least a person must be able to do, `kit_items` what must be at hand;
    those of a composite follow from its parts.
    """

    id: str
    name: str
    short: str
    other_names: tuple[str, ...]
    purpose: str
    domain: str
    icf: tuple[str, ...]
    kind: Literal[
        "time", "distance", "count", "speed", "stages", "pressure", "composite"
    ]
    units: tuple[str, ...]
    better: Better
    lowest: Decimal
    highest: Decimal
    tape: Mapping[str, Span]
    posture: Literal["standing", "seated"]
    minutes: int
    needs: str
    walk_metres: Decimal | None
    kit_items: tuple[str, ...]
    retest_days: int
    must_not: tuple[str, ...]
    caution: tuple[str, ...]
    guide: Guide
    splits: tuple[str, ...]
    phases: tuple[Phase, ...]
    variants: tuple[Variant, ...]
    facts: tuple[Fact, ...]
    window_seconds: int | None = None
    ceiling_seconds: int | None = None
    ceiling_fact: str = ""
    course: Mapping[str, Decimal] = field(default_factory=dict)
    stages: tuple[Stage, ...] = ()
    components: tuple[Component, ...] = ()
    bands: tuple[Band, ...] = ()
    formula: Literal["", "points", "relative_power"] = ""
    counted: tuple[str, ...] = ()
    last_one: str = ""
    zero: Zero | None = None
    inputs: tuple[Input, ...] = ()
    pairs: tuple[Pair, ...] = ()
    warns: tuple[Caution, ...] = ()
    norms: tuple[Norm, ...] = ()
    cutoffs: tuple[Cutoff, ...] = ()
    unable: tuple[UnableRow, ...] = ()
    reliability: tuple[Reliability, ...] = ()
    important_change: tuple[ImportantChange, ...] = ()
    protocol: tuple[ProtocolNote, ...] = ()
    checks: tuple[Check, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)

    @property
    def trial_units(self) -> tuple[str, ...]:
        """Units a trial is taken in, the first of them when none is said."""
        if self.kind == "speed":
            return ("s", *self.units)
        return ("s",) if self.kind == "stages" else self.units

    @property
    def timed(self) -> bool:
        """Whether a stopwatch takes its trials."""
        return self.kind in ("time", "speed", "stages")

    @property
    def made_from(self) -> frozenset[str]:
        """Other tests of the same day that a score of this one is made with."""
        parts = {c.measure for c in self.components}
        return frozenset(parts | {p.measure for p in self.pairs})

    def ceiling(self, facts: Mapping[str, str]) -> int | None:
        """Seconds after which a hold ends by itself, under these set-up facts."""
        if not self.ceiling_fact:
            return self.ceiling_seconds
        fact = self.fact(self.ceiling_fact)
        said = facts.get(self.ceiling_fact) or (fact.default if fact else None)
        return int(said) if said else self.ceiling_seconds

    def due_after(self, day: date, every: int | None = None) -> date | None:
        """When a test done on `day` is due again; None for never.

        `every`: the site's own days for all tests, 0 for never; else the catalogue's.
        """
        if every == 0:
            return None
        return day + timedelta(days=self.retest_days if every is None else every)

    def variant(self, variant_id: str | None) -> Variant:
        """The named scoring rule, or the first, which is the default."""
        if variant_id is None:
            return self.variants[0]
        return next(v for v in self.variants if v.id == variant_id)

    def noun(self, count: object) -> str:
        """What a count is of: `1 stand`, `12 stands`; nothing for other kinds."""
        if not self.counted:
            return ""
        return self.counted[0 if str(count) == "1" else 1]

    def fact(self, key: str) -> Fact | None:
        return next((f for f in self.facts if f.key == key), None)
