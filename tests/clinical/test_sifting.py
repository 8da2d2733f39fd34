"""What is kept of a reading's work: as worked out anew, and never another's."""

import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import app.clinical
from app.catalogue.load import FOLDER, Catalogue, catalogue, load
from app.clinical.measure import Measure
from app.clinical.person import Person
from app.clinical.reading import Result, read
from app.clinical.scoring import Score
from app.clinical.sifting import sift, sifted
from tests.clinical.test_properties import PEOPLE

STEPS = "four_square_step"
WOMAN = Person((74,), "female", (), "community")


@st.composite
def scores(draw: st.DrawFn, m: Measure) -> Score:
    """Any number, trial rule and stated set-up of a test."""
    choices = {f.key: st.sampled_from(list(f.options)) for f in m.facts if f.options}
    rule, *others = draw(st.permutations([v.id for v in m.variants]))
    return Score(
        m.id, "completed", rule, draw(st.sampled_from(m.units)),
        Fraction(draw(st.integers(1, 40_000)), 100),
        beside=dict.fromkeys(others[: draw(st.integers(0, 1))], Fraction(9)),
        facts=draw(st.fixed_dictionaries({}, optional=choices)),
    )  # fmt: skip


@settings(max_examples=150)
@given(st.data())
def test_kept_rows_are_those_worked_out_anew(data: st.DataObject) -> None:
    m = data.draw(st.sampled_from(list(catalogue().measures.values())))
    person, now = data.draw(PEOPLE), data.draw(scores(m))
    other = replace(now, value=Fraction(data.draw(st.integers(1, 400))))

    assert sifted(m, person, other) == sift(m, person, other)
    assert sifted(m, person, now) == sift(m, person, now)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "measures").mkdir()
    shutil.copy(FOLDER / "facts.toml", tmp_path)
    shutil.copy(FOLDER / f"measures/{STEPS}.toml", tmp_path / "measures")
    return tmp_path


def steps(shelf: Catalogue) -> Result:
    m = shelf.measures[STEPS]
    now = Score(m.id, "completed", m.variants[0].id, "s", Fraction(16))
    return read(m, now, WOMAN)


def test_another_edition_gives_fresh_readings(folder: Path) -> None:
    """The same person and score, the limit of the leading row moved in the file."""
    first = load(folder)
    lead = steps(first).leading
    assert lead is not None
    assert lead.threshold == Decimal("15.0")

    path = folder / f"measures/{STEPS}.toml"
    path.write_text(path.read_text().replace("value = 15.0", "value = 17.5"))
    moved = steps(load(folder)).leading

    assert moved is not None
    assert (moved.threshold, moved.crossed) == (Decimal("17.5"), False)
    assert "17.5 s" in moved.says
    assert steps(first).leading == lead


@pytest.mark.parametrize("value", ["15", "15.0", "15.00"])
def test_limits_alike_in_value_keep_their_own_words(value: str) -> None:
    """One number, three ways to print it, one after another in one process."""
    m = catalogue().measures["five_times_sit_to_stand"]
    row = next(r for r in m.cutoffs if r.source == "buatois2008")
    one = replace(m, cutoffs=(replace(row, value=Decimal(value)),), norms=())
    now = Score(m.id, "completed", m.variants[0].id, "s", Fraction(16))

    assert f"{value} s" in read(one, now, WOMAN).readings[0].says


def test_changed_fact_of_a_person_is_not_read_from_memory() -> None:
    facts: dict[str, str] = {}
    person = replace(WOMAN, conditions=("amputation",), facts=facts)
    m = catalogue().measures["timed_up_and_go"]
    now = Score(m.id, "completed", m.variants[0].id, "s", Fraction(20))
    before = read(m, now, person)
    facts["amputation_level"] = "above_knee"

    assert read(m, now, person).readings != before.readings


def test_many_threads_read_the_same() -> None:
    people = [replace(WOMAN, ages=(age,)) for age in range(50, 80)] * 4
    m = catalogue().measures["timed_up_and_go"]
    now = Score(m.id, "completed", m.variants[0].id, "s", Fraction(13))
    with ThreadPoolExecutor(8) as pool:
        together = list(pool.map(lambda person: read(m, now, person), people))

    assert together == [read(m, now, person) for person in people]


def memories() -> Iterator[tuple[str, int | None]]:
    """Every function of the core that remembers, with how much it may keep."""
    for module in iter_modules(app.clinical.__path__, "app.clinical."):
        for name, found in vars(import_module(module.name)).items():
            if hasattr(found, "cache_parameters"):
                yield f"{module.name}.{name}", found.cache_parameters()["maxsize"]


def test_every_memory_of_the_core_is_bounded() -> None:
    found = dict(memories())

    assert "app.clinical.sifting._kept" in found
    assert [name for name, most in found.items() if most is None] == []
