"""Readings a second on one core: one score judged against all rows of its test.

The same of people who were never read before, of whom nothing is kept. How it grows
with the catalogue, by giving each test its rows twice and four times, and with the
history of one patient. The baseline is the least anything could do: a bare
loop that compares the score with one number of each row, as Decimals, in the same run.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from functools import partial
from itertools import count, product
from typing import Final

from app.catalogue.load import catalogue
from app.clinical.measure import Measure
from app.clinical.person import Person
from app.clinical.reading import read
from app.clinical.scores import Score
from app.storage.trials import Round, RoundTrials, Trial
from app.web.judging import judged
from tests.benchmarks.figures import Figure, Options
from tests.make import NOW, TODAY

#: Tests whose score is a plain number; the others are made from parts.
PLAIN: Final = {"time", "distance", "count", "speed", "stages"}
#: With so many rows a test is one of those that take longest.
MANY = 50
AGES, SEXES = (52, 67, 74, 88), ("female", "male")
CONDITIONS: Final = ((), ("stroke",), ("parkinson",))
SIZES, HISTORIES = (1, 2, 4), (10, 100, 1000)
LEAST = 5000
SECONDS, QUICK_SECONDS = 5.0, 0.5

Judging = tuple[Measure, Score, Score, Person]


def judgings(times: int, least: int = 1) -> list[Judging]:
    """Every such test for every person, with an earlier score; rows so many times.

    `least`: only tests with so many rows. The score is near a number that is printed.
    """
    people = [
        Person((age,), sex, conditions, "community")
        for age, sex, conditions in product(AGES, SEXES, CONDITIONS)
    ]
    found = []
    for once in catalogue().measures.values():
        numbers = numbers_of(once)
        if once.kind not in PLAIN or len(numbers) < least:
            continue
        measure = repeated(once, times)
        near = Fraction(next(n for n in numbers if n))
        now, before = _score(measure, near), _score(measure, near * Fraction(9, 10))
        found += [(measure, now, before, person) for person in people]
    return found


def repeated(measure: Measure, times: int) -> Measure:
    return replace(
        measure,
        norms=measure.norms * times,
        cutoffs=measure.cutoffs * times,
        reliability=measure.reliability * times,
        important_change=measure.important_change * times,
    )


def _score(measure: Measure, value: Fraction) -> Score:
    rule, unit = measure.variants[0].id, measure.units[0]
    return Score(measure.id, "completed", rule, unit, value)


def numbers_of(measure: Measure) -> list[Decimal]:
    """One printed number of each row that is read."""
    norms = [row.mean or Decimal(0) for row in measure.norms]
    errors = [row.mdc95 or row.sem or Decimal(0) for row in measure.reliability]
    return [*norms, *(row.value for row in measure.cutoffs), *errors]


def per_second(do: Callable[[], object], each: int, seconds: float) -> float:
    """How many of `each` a second of the processor, in whole turns."""
    turns, started = 0, time.process_time()
    while time.process_time() - started < seconds:
        do()
        turns += 1
    return turns * each / (time.process_time() - started)


def read_all(asked: Sequence[Judging]) -> None:
    rates = catalogue().base.rates
    for measure, now, before, person in asked:
        read(measure, now, person, before=before, base_rates=rates)


def read_strangers(asked: Sequence[Judging], turns: Iterator[int]) -> None:
    """The same for people in whom a fact differs that no row asks about."""
    facts = {"turn": str(next(turns))}
    read_all([(m, now, was, replace(p, facts=facts)) for m, now, was, p in asked])


def compare_all(asked: Sequence[tuple[Decimal, list[Decimal]]]) -> int:
    return sum(value >= number for value, numbers in asked for number in numbers)


def of_catalogue(seconds: float) -> Iterator[Figure]:
    every = judgings(1)
    yield _rate("readings, every test", every, seconds, LEAST)
    known = per_second(lambda: read_all(every), len(every), seconds)
    turns = count()
    new = per_second(lambda: read_strangers(every, turns), len(every), seconds)
    yield Figure(
        "readings, people never read before", new, "a second",
        baseline=known, against="people read before",
    )  # fmt: skip
    for times in SIZES:
        asked = judgings(times, MANY)
        yield _rate(f"readings, tests of many rows x {times}", asked, seconds, None)


def _rate(
    what: str, asked: Sequence[Judging], seconds: float, least: float | None
) -> Figure:
    plain = [
        (Decimal(now.value.numerator) / now.value.denominator, numbers_of(measure))
        for measure, now, _, _ in asked
        if now.value is not None
    ]
    rows = sum(len(numbers) for _, numbers in plain) / len(plain)
    return Figure(
        what, per_second(lambda: read_all(asked), len(asked), seconds), "a second",
        baseline=per_second(lambda: compare_all(plain), len(plain), seconds),
        against="a bare loop of comparisons", least=least, note=f"{rows:.0f} rows each",
    )  # fmt: skip


def history_of(length: int) -> list[RoundTrials]:
    """So many rounds of one patient, a day apart, the latest last."""
    return [
        RoundTrials(
            Round(id=n, uid="", visit_id=n, person_id=1, measure="timed_up_and_go",
                  variant="", facts={}, created_at=NOW),
            TODAY - timedelta(days=length - n),
            (Trial(id=n, uid="", round_id=n, place=1, practice=False,
                   outcome="completed", raw_ms=10_000 + 37 * n % 9_000, inputs={},
                   splits_ms=[], clocks={}, recorded_at=NOW, recorded_by=1,
                   body_hash="", reason=""),),
        )
        for n in range(1, length + 1)
    ]  # fmt: skip


def of_history(seconds: float) -> Iterator[Figure]:
    """The latest round judged beside all earlier ones; the baseline is the shortest."""
    measure = catalogue().measures["timed_up_and_go"]
    person = Person((74,), "female", (), "community")
    shortest = None
    for length in HISTORIES:
        kept = history_of(length)
        newest = partial(judged, measure, kept[-1], kept, person, lambda _day: {}, {})
        found = per_second(newest, 1, seconds)
        yield Figure(
            f"rounds judged, after {length} of them", found, "a second",
            baseline=shortest, against=f"after {HISTORIES[0]}",
        )  # fmt: skip
        shortest = shortest or found


def figures(options: Options) -> Iterator[Figure]:
    seconds = QUICK_SECONDS if options.quick else SECONDS
    yield from of_catalogue(seconds)
    yield from of_history(seconds)
