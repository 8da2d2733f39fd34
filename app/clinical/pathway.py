"""A published screening pathway, walked with what is known of one person.

Rules are data: each keeps the words of its source, and says by closed conditions when
it is met. A condition is met, not met, or unknown; unknown never counts as no. There is
no sum score: a level is reached by a rule or by none.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from app.clinical.guide import Check
from app.clinical.measure import Cutoff
from app.clinical.person import Person
from app.clinical.quantities import alike, beyond, compared
from app.clinical.screening import QUESTIONS, with_implied
from app.clinical.source import Source
from app.clinical.vocabulary import CONDITIONS, SETTINGS, How

State = Literal["met", "not_met", "open", "told"]
NeedKind = Literal["answer", "measure", "person", "unable"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One closed question about the person; `kind` says which fields hold.

    `answer`: the answer to `key` is one of `values`, or at least `at_least`.
    `measure`: the score of `key` (or its part `quantity`) lies `direction` of `value`.
    `beyond`: the fitting row of source `values[0]` in measure `key` is crossed.
    `not_measured`: there is no score of `key`. `age`, `setting`, `condition`: the
    person. `result`: level or finding `key` is reached. `any_of`: one of `values`; none
    of them once all of `enough` are not met.
    """

    id: str
    says: str
    kind: Literal[
        "answer", "measure", "beyond", "not_measured", "age", "setting", "condition",
        "result", "any_of",
    ]  # fmt: skip
    key: str = ""
    values: tuple[str, ...] = ()
    at_least: int | None = None
    at_most: int | None = None
    quantity: str = ""
    direction: str = ""
    value: Decimal | None = None
    unit: str = ""
    enough: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Way:
    """How a rule is met: all of `all`, one of `any`, none of `none`.

    `unless`: keeps it from being met when met; unknown is assumed not to be.
    """

    all: tuple[str, ...] = ()
    any: tuple[str, ...] = ()
    none: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One row of a pathway, in its source's sense. Without a way it is only told.

    It gives a `level` or a `finding`. `part_of` names the rule whose row it belongs to.
    """

    id: str
    step: int
    when: str
    then: str
    how: How
    source: str
    note: str = ""
    level: str = ""
    finding: str = ""
    ways: tuple[Way, ...] = ()
    part_of: str = ""

    @property
    def gives(self) -> str:
        return self.level or self.finding


@dataclass(frozen=True, slots=True)
class Remark:
    """A fact shown beside the pathway: always, or once `at` is reached."""

    text: str
    how: How
    source: str
    at: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How well a screen foretold falls. `reads`: the condition that crosses it."""

    row: Cutoff
    reads: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pathway:
    """One edition of one published pathway. `names`: levels and findings in words.

    `percent` false: its source wants a finding and an action, never a percentage.
    """

    id: str
    name: str
    edition: str
    source: str
    how: How
    note: str
    percent: bool
    names: Mapping[str, str]
    conditions: Mapping[str, Condition]
    rules: tuple[Rule, ...]
    remarks: tuple[Remark, ...]
    accuracy: tuple[Accuracy, ...]
    checks: tuple[Check, ...]
    sources: Mapping[str, Source]

    @property
    def questions(self) -> tuple[str, ...]:
        """What it asks the person, in the order its conditions stand."""
        asked = (c.key for c in self.conditions.values() if c.kind == "answer")
        return tuple(dict.fromkeys(asked))

    @property
    def measures(self) -> tuple[str, ...]:
        """The tests it takes, in the same order."""
        kinds = ("measure", "beyond", "not_measured")
        taken = (c.key for c in self.conditions.values() if c.kind in kinds)
        return tuple(dict.fromkeys(taken))


@dataclass(frozen=True, slots=True)
class Taken:
    """A test's latest score. `says` is how it is told; `beyond` the rows crossed.

    `usable` false: done in another set-up than the published one; no rule may read it.
    """

    says: str
    value: Fraction | None = None
    unit: str = ""
    parts: Mapping[str, tuple[Fraction, str]] = field(default_factory=dict)
    beyond: Mapping[str, bool] = field(default_factory=dict)
    usable: bool = True


@dataclass(frozen=True, slots=True)
class Known:
    """All that is known of the person asked about."""

    person: Person
    answers: Mapping[str, str] = field(default_factory=dict)
    taken: Mapping[str, Taken] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Need:
    """Something still missing: an answer, a test, or a fact of the person.

    Facts: `age`, `setting`, or `row` when no published row fits what is known.
    `unable`: the test was tried and could not be done; the source has no rule for that.
    """

    kind: NeedKind
    key: str


@dataclass(frozen=True, slots=True)
class Told:
    """One condition for one person. `own` is the person's own answer in words."""

    condition: Condition
    met: bool | None
    own: str = ""
    needs: tuple[Need, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One rule for one person, with every condition it looked at."""

    rule: Rule
    state: State
    told: tuple[Told, ...] = ()
    needs: tuple[Need, ...] = ()
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Walk:
    """Where a pathway leads. `by` is the rule that gave the level, if one did."""

    pathway: Pathway
    steps: tuple[Step, ...]
    by: Step | None
    missing: tuple[Need, ...]
    remarks: tuple[Remark, ...]

    @property
    def level(self) -> str:
        return self.by.rule.level if self.by else ""

    @property
    def findings(self) -> tuple[str, ...]:
        met = (s.rule.finding for s in self.steps if s.state == "met")
        return tuple(f for f in met if f)

    @property
    def unconfirmed(self) -> bool:
        """Whether the level rests on a rule that was recalled, not read."""
        return self.by is not None and self.by.rule.how == "memory"


def walk(pathway: Pathway, known: Known) -> Walk:
    """Every rule in order; the level is that of the rule that is met, if one is."""
    walker = _Walker(pathway, known)
    steps = tuple(walker.step(rule) for rule in pathway.rules)
    by = next((s for s in steps if s.state == "met" and s.rule.level), None)
    wanted = [s for s in steps if s.state == "open" and not (by and s.rule.level)]
    missing = tuple(dict.fromkeys(n for s in wanted for n in s.needs))
    reached = {s.rule.gives for s in steps if s.state == "met"} | {""}
    remarks = tuple(r for r in pathway.remarks if r.at in reached)
    return Walk(pathway, steps, by, missing, remarks)


def tell(pathway: Pathway, known: Known, condition: str) -> Told:
    """One condition alone, e.g. the answer that crosses a screen's limit."""
    return _Walker(pathway, known).tell(pathway.conditions[condition])


class _Walker:
    """Holds what earlier rules came to, which later ones may ask for."""

    def __init__(self, pathway: Pathway, known: Known) -> None:
        self.pathway, self.person, self.taken = pathway, known.person, known.taken
        self.answers = with_implied(known.answers)
        self.done: list[Step] = []

    def step(self, rule: Rule) -> Step:
        made = self._step(rule)
        self.done.append(made)
        return made

    def _step(self, rule: Rule) -> Step:
        if not rule.ways:
            return Step(rule, "told")
        asked: dict[str, Told] = {}
        open_needs: list[Need] = []
        for way in rule.ways:
            told = {c: self.tell(self.pathway.conditions[c]) for c in _ids(way)}
            asked |= told
            met = _way_met(way, told)
            if met:
                unsure = [told[c] for c in way.unless if told[c].met is None]
                assumed = tuple(t.condition.says for t in unsure)
                return Step(rule, "met", tuple(asked.values()), assumed=assumed)
            if met is None:
                open_needs += _needs(told[c] for c in _ids(way) if c not in way.unless)
        state: State = "open" if open_needs else "not_met"
        return Step(
            rule, state, tuple(asked.values()), tuple(dict.fromkeys(open_needs))
        )

    def tell(self, condition: Condition) -> Told:
        ask = {
            "answer": self._answer, "measure": self._score, "beyond": self._score,
            "not_measured": self._not_measured, "age": self._age,
            "setting": self._setting, "condition": self._illness,
            "result": self._result, "any_of": self._any_of,
        }[condition.kind]  # fmt: skip
        return ask(condition)

    def _answer(self, c: Condition) -> Told:
        given = self.answers.get(c.key)
        if given is None:
            return Told(c, None, needs=(Need("answer", c.key),))
        met = given in c.values if c.at_least is None else int(given) >= c.at_least
        return Told(c, met, QUESTIONS[c.key].words(given))

    def _score(self, c: Condition) -> Told:
        taken = self.taken.get(c.key)
        if taken is None or not taken.usable:
            own = taken.says if taken else ""
            return Told(c, None, own, (Need("measure", c.key),))
        met = taken.beyond.get(c.values[0]) if c.kind == "beyond" else _side(c, taken)
        if met is not None:
            return Told(c, met, taken.says)
        if taken.value is None and not taken.parts:
            return Told(c, None, taken.says, (Need("unable", c.key),))
        need = Need("person", "row") if c.kind == "beyond" else Need("measure", c.key)
        return Told(c, None, taken.says, (need,))

    def _not_measured(self, c: Condition) -> Told:
        taken = self.taken.get(c.key)
        own = taken.says if taken else "not measured"
        return Told(c, taken is None or not taken.usable, own)

    def _age(self, c: Condition) -> Told:
        low, high = c.at_least or 0, c.at_most or 999
        sides = {low <= age <= high for age in self.person.ages}
        own = " or ".join(str(age) for age in self.person.ages)
        if len(sides) != 1:
            return Told(c, None, own, (Need("person", "age"),))
        return Told(c, sides.pop(), own)

    def _setting(self, c: Condition) -> Told:
        setting = self.person.setting
        if setting is None:
            return Told(c, None, needs=(Need("person", "setting"),))
        return Told(c, setting in c.values, SETTINGS[setting])

    def _illness(self, c: Condition) -> Told:
        own = [CONDITIONS[x] for x in self.person.conditions if x in c.values]
        return Told(c, bool(own), ", ".join(own))

    def _result(self, c: Condition) -> Told:
        giving = [s for s in self.done if s.rule.gives == c.key]
        if any(s.state == "met" for s in giving):
            return Told(c, True)
        if any(s.state == "met" and s.rule.level for s in self.done) and any(
            s.rule.level for s in giving
        ):
            return Told(c, False)  # another level is reached
        needs = tuple(n for s in giving if s.state == "open" for n in s.needs)
        return Told(c, None, needs=needs) if needs else Told(c, False)

    def _any_of(self, c: Condition) -> Told:
        parts = {key: self.tell(self.pathway.conditions[key]) for key in c.values}
        own = "; ".join(t.own for t in parts.values() if t.own)
        if any(t.met for t in parts.values()):
            return Told(c, True, own)
        enough = [parts[key] for key in c.enough or c.values]
        if all(t.met is False for t in enough):
            return Told(c, False, own)
        return Told(c, None, own, tuple(_needs(enough)))


def _ids(way: Way) -> tuple[str, ...]:
    return (*way.all, *way.any, *way.none, *way.unless)


def _needs(told: Iterable[Told]) -> list[Need]:
    return [need for t in told if t.met is None for need in t.needs]


def _way_met(way: Way, told: Mapping[str, Told]) -> bool | None:
    """Three-valued: unknown parts leave it unknown, unless another part settles it."""
    if any(told[c].met for c in way.unless):
        return False
    parts = [told[c].met for c in way.all] + [_not(told[c].met) for c in way.none]
    if way.any:
        some = [told[c].met for c in way.any]
        parts.append(True if True in some else None if None in some else False)
    return False if False in parts else None if None in parts else True


def _not(met: bool | None) -> bool | None:
    return None if met is None else not met


def _side(c: Condition, taken: Taken) -> bool | None:
    """Whether the score lies on the rule's side, compared as it would be printed."""
    value, unit = taken.value, taken.unit
    if c.quantity:
        value, unit = taken.parts.get(c.quantity, (None, ""))
    if value is None or c.value is None or not alike(unit, c.unit):
        return None
    return beyond(compared(value, unit, c.value, c.unit), c.direction, c.value)
