"""From attempts to where somebody stands on one test, against one edition of the key.

Timing and scoring only: guarding and handling are signed off in person, outside.
Below the least number nothing is claimed, and what is missing is said. Every threshold
here is common practice (ours) and may be set by a supervisor.

A test is judged in the unit of its result: a time, a count, a distance. A trial that
was read in words has no timing; its faults, decision, count and distance are judged.

No decision here is ordered: a trial is valid or void (or was not decided), a fault is
there or not. So each kappa is Cohen's plain one, without weights. A count is ordered,
but it is a number: it has limits of agreement and an ICC, which a kappa with quadratic
weights comes down to (Fleiss JL, Cohen J. Educ Psychol Meas 1973;33:613-619; from
memory). `agreement.kappa_of` takes weights for a decision that is graded one day.
"""

from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final

from app.clinical.quantities import rounded
from app.practice.agreement import (
    LEAST_DECISIONS,
    LEAST_TRIALS,
    Kappa,
    Limits,
    NotComparable,
    kappa_of,
    limits_of_agreement,
)
from app.practice.attempt import Attempt, Beside
from app.practice.scale import SCALES, Scale, signed, two_places

SCOPE: Final = (
    "Timing and scoring only. Guarding and handling are signed off in person, outside "
    "this program."
)
#: Who has learned is not held to how they began: the latest so many are judged.
LATEST: Final = 40
#: A share of fewer planted faults says nothing yet.
LEAST_FAULTS: Final = 10


@dataclass(frozen=True, slots=True)
class Rule:
    """What a sign-off asks for. The defaults are common practice, ours.

    `most_bias`: the average may be off by this much, in thousandths of `unit`; of a
    time 0.2 s, which is what a hand adds to a stopwatch. `most_apart`: both limits of
    agreement lie within it.
    """

    least_trials: int = 20
    most_bias: int = 200
    most_apart: int = 500
    least_seen: int = 80  # faults seen, of 100 there were
    least_kappa: int = 60  # in hundredths
    unit: str = "s"

    @property
    def scale(self) -> Scale:
        return SCALES[self.unit]

    @property
    def latest(self) -> int:
        """How many of the latest are judged at most; never fewer than are asked for."""
        return max(LATEST, self.least_trials)


#: By the unit of the result. Of a count a quarter of one either way, and limits within
#: one; of a distance a quarter inch (half of what is read off), and within an inch.
DEFAULTS: Final[Mapping[str, Rule]] = {
    "s": Rule(),
    "count": Rule(most_bias=250, most_apart=1000, unit="count"),
    "in": Rule(most_bias=250, most_apart=1000, unit="in"),
}
DEFAULT: Final = DEFAULTS["s"]


@dataclass(frozen=True, slots=True)
class Seen:
    """Faults there were, those of them that were said, and those said that were not."""

    planted: int
    seen: int
    false: int

    @property
    def percent(self) -> Decimal | None:
        if self.planted < LEAST_FAULTS:
            return None
        return rounded(Fraction(100 * self.seen, self.planted), 0)


@dataclass(frozen=True, slots=True)
class Check:
    """One thing a sign-off asks for. `met` is None where it cannot be told yet."""

    key: str
    name: str
    met: bool | None
    has: str
    asks: str


@dataclass(frozen=True, slots=True)
class Standing:
    """Somebody's figures on one test. Figures are None below their least number."""

    measure: str
    edition: str
    scale: Scale
    n: int  # the latest with a result in that unit, which bias and limits are made of
    decided: int  # the latest of all, whose faults and decisions are judged
    without: int  # those of them that have no result in that unit
    in_words: int  # those of them that were read in words
    taken: int  # all of this test and edition
    exact: int  # results that were just the key's, as shown
    limits: Limits | None  # of the results, in thousandths of the unit
    starts: Limits | None
    stops: Limits | None
    seen: Seen
    valid: Kappa | None
    faults: Kappa | None
    checks: tuple[Check, ...]
    judged: tuple[int, ...]  # the attempts' numbers, which a sign-off rests on

    @property
    def enough(self) -> bool:
        """As many trials as the rule asks for, so that there is something to judge."""
        return bool(self.checks[0].met)

    @property
    def reached(self) -> bool:
        return all(check.met for check in self.checks)

    @property
    def missing(self) -> tuple[Check, ...]:
        return tuple(check for check in self.checks if not check.met)


def first_tries(attempts: Iterable[Attempt]) -> tuple[Attempt, ...]:
    """Oldest first, each showing once: its key is known to whoever tries it again."""
    found: dict[tuple[int, str, int, int, str], Attempt] = {}
    for each in sorted(attempts, key=lambda a: (a.at, a.id)):
        showing = (each.person, each.case, each.trial, each.seed, each.edition)
        found.setdefault(showing, each)
    return tuple(found.values())


def tries_at(
    attempts: Iterable[Attempt], measure: str, edition: str
) -> tuple[Attempt, ...]:
    """First tries at one test under one edition of the key, oldest first."""
    return first_tries(
        a for a in attempts if (a.measure, a.edition) == (measure, edition)
    )


def standing(
    attempts: Iterable[Attempt], measure: str, edition: str, rule: Rule = DEFAULT
) -> Standing:
    """Where one person stands; attempts of other tests and editions do not count."""
    tries = tries_at(attempts, measure, edition)
    found, decided = results(tries, rule.unit)[-rule.latest :], tries[-rule.latest :]
    measured, apart = [a for a, _ in found], [float(b.off) for _, b in found]
    limits = limits_of_agreement(apart)
    valid, valid_why = _kappa([(a.valid_said, a.valid_key) for a in decided])
    faults, faults_why = _faults_kappa(decided)
    seen = seen_in(decided)
    without = sum(a.beside(rule.unit) is None for a in decided)
    checks = (
        _trials(len(measured), without, rule),
        *_result(len(measured), limits, rule),
        _seen(seen, rule),
        _agreed("valid", "valid or void", valid, valid_why, rule),
        _agreed("faults", "each fault, there or not", faults, faults_why, rule),
    )
    return Standing(
        measure=measure, edition=edition, scale=rule.scale, n=len(measured),
        decided=len(decided), without=without,
        in_words=sum(a.way == "words" for a in decided),
        taken=len(tries), exact=sum(two_places(off) == 0 for off in apart),
        limits=limits, starts=_late([a.start_off_ms for a in measured]),
        stops=_late([a.stop_off_ms for a in measured]), seen=seen, valid=valid,
        faults=faults, checks=checks,
        judged=tuple(sorted({a.id for a in (*measured, *decided)})),
    )  # fmt: skip


def results(
    attempts: Iterable[Attempt], unit: str
) -> tuple[tuple[Attempt, Beside], ...]:
    """Those that have a result in that unit, with it and the key's."""
    pairs = ((a, a.beside(unit)) for a in attempts)
    return tuple((a, beside) for a, beside in pairs if beside is not None)


def _late(offs: Iterable[int | None]) -> Limits | None:
    return limits_of_agreement([float(off) for off in offs if off is not None])


def fault_decisions(attempts: Sequence[Attempt]) -> list[tuple[bool, bool]]:
    """Said and true, for each attempt and each kind of fault that occurs in them.

    Decisions within one trial hang together, so the interval is somewhat too narrow.
    """
    kinds = sorted({k for a in attempts for k in a.faults_said | a.faults_key})
    return [(k in a.faults_said, k in a.faults_key) for a in attempts for k in kinds]


def seen_in(attempts: Sequence[Attempt]) -> Seen:
    return Seen(
        sum(len(a.faults_key) for a in attempts),
        sum(len(a.faults_key & a.faults_said) for a in attempts),
        sum(len(a.faults_said - a.faults_key) for a in attempts),
    )


def missed_kinds(attempts: Sequence[Attempt]) -> tuple[tuple[str, int, int], ...]:
    """Each kind of fault that was missed: how often, of how many, worst first."""
    kinds = {k for a in attempts for k in a.faults_key}
    told = [
        (
            kind,
            sum(kind in a.faults_key - a.faults_said for a in attempts),
            sum(kind in a.faults_key for a in attempts),
        )
        for kind in kinds
    ]
    missed = [line for line in told if line[1]]
    return tuple(sorted(missed, key=lambda line: (-line[1] / line[2], line[0])))


def _faults_kappa(decided: Sequence[Attempt]) -> tuple[Kappa | None, str]:
    """One trial holds a decision on each kind of fault: few trials make many."""
    if len(decided) < LEAST_TRIALS:
        trials = "trial" if len(decided) == 1 else "trials"
        return None, f"{len(decided)} {trials} so far; told from {LEAST_TRIALS} on"
    return _kappa(fault_decisions(decided))


def _kappa(pairs: Sequence[tuple[bool | None, bool]]) -> tuple[Kappa | None, str]:
    """Against the key. What was not decided is an answer of its own, never right."""
    if len(pairs) < LEAST_DECISIONS:
        few = f"{len(pairs)} decided so far; told from {LEAST_DECISIONS} on"
        return None, few
    if len({key for _, key in pairs}) < 2:
        return None, "told once the key had both answers; so far it had one"
    try:
        return kappa_of(pairs, (True, False, None)), ""
    except NotComparable:  # cannot be while the key has both, but figures never crash
        return None, "nothing to compare"


def _trials(n: int, without: int, rule: Rule) -> Check:
    asks = f"at least {rule.least_trials}"
    has = str(n)
    if without:
        has += f" {rule.scale.done}, and {without} with faults and decision alone"
    return Check("trials", "trials", n >= rule.least_trials, has, asks)


def _result(n: int, limits: Limits | None, rule: Rule) -> tuple[Check, Check]:
    """Of the result itself: how far off on average, and how far apart."""
    scale = rule.scale
    bias_asks = f"within {scale.amount(rule.most_bias)} either way"
    apart_asks = f"both within {scale.amount(rule.most_apart)}"
    names = ("average difference", "limits of agreement")
    if limits is None or n < rule.least_trials:
        few = f"{n} so far; told from {rule.least_trials} on"
        return (
            Check("bias", names[0], None, few, bias_asks),
            Check("limits", names[1], None, few, apart_asks),
        )
    low, high = limits.lower.value, limits.upper.value
    bias_met = abs(two_places(limits.bias.value)) <= two_places(rule.most_bias)
    apart = max(abs(two_places(low)), abs(two_places(high)))
    bias_has = scale.signed(limits.bias.value)
    apart_has = f"{signed(low)} to {scale.signed(high)}"
    if not limits.bias.told:
        apart_has = f"all {limits.n} were {bias_has}; no limits can be given"
    return (
        Check("bias", names[0], bias_met, bias_has, bias_asks),
        Check("limits", names[1], apart <= two_places(rule.most_apart), apart_has,
              apart_asks),
    )  # fmt: skip


def _seen(seen: Seen, rule: Rule) -> Check:
    asks = f"at least {rule.least_seen} %"
    percent = seen.percent
    if percent is None:
        many = "fault" if seen.planted == 1 else "faults"
        few = f"{seen.planted} {many} so far; told from {LEAST_FAULTS} on"
        return Check("seen", "faults seen", None, few, asks)
    has = f"{percent} % ({seen.seen} of {seen.planted})"
    return Check("seen", "faults seen", percent >= rule.least_seen, has, asks)


def _agreed(key: str, name: str, kappa: Kappa | None, why: str, rule: Rule) -> Check:
    least = Decimal(rule.least_kappa).scaleb(-2)
    name, asks = f"kappa: {name}", f"at least {least}"
    if kappa is None:
        return Check(key, name, None, why, asks)
    found = rounded(Fraction(round(kappa.kappa.value, 9)), 2)
    return Check(key, name, found >= least, kappa_words(kappa), asks)


def kappa_words(kappa: Kappa) -> str:
    """The figure with its interval, which no kappa leaves.

    Where all agree the formula gives an interval of no width, which claims too much.
    """
    if kappa.observed > 1 - 1e-9:
        return f"1.00 (all {kappa.n} decisions alike; no interval can be given)"
    low, high = max(kappa.kappa.low, -1.0), min(kappa.kappa.high, 1.0)
    value, low_words, high_words = (
        str(rounded(Fraction(round(x, 9)), 2)).replace("-", "\u2212")
        for x in (kappa.kappa.value, low, high)
    )
    return f"{value} (95 % interval {low_words} to {high_words})"


def months_after(day: date, months: int) -> date:
    """The same day so many months on, or that month's last.

    >>> months_after(date(2026, 1, 31), 1)
    datetime.date(2026, 2, 28)
    """
    year, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + year, month + 1
    return date(year, month, min(day.day, monthrange(year, month)[1]))


def sign_off_state(
    edition: str, now_edition: str, until: date | None, withdrawn: bool, today: date
) -> str:
    """`withdrawn`, `expired`, `earlier` (edition of the key) or `holds`."""
    if withdrawn:
        return "withdrawn"
    if until is not None and today > until:
        return "expired"
    return "holds" if edition == now_edition else "earlier"
