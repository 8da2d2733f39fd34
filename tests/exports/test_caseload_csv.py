"""Rows of both files: there and back, and what is said of rows that are none."""

import io
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.catalogue.load import catalogue
from app.clinical.person import Onset
from app.clinical.precautions import PRECAUTIONS
from app.clinical.vocabulary import (
    CONDITIONS,
    EPISODE_ENDS,
    LIVES_WITH,
    PERSON_FACTS,
    PRIOR_LEVELS,
    SETTINGS,
    SIDED,
    SIDES,
    UNABLE_REASONS,
)
from app.exports import caseload_columns
from app.exports.caseload_csv import (
    PATIENT_COLUMNS,
    SCORE_COLUMNS,
    CareCells,
    PatientRow,
    PrecautionCell,
    ScoreRow,
    TrialCell,
    patients_csv,
    scores_csv,
    time_cell,
)
from app.exports.caseload_reading import PLANS, Problem, rows_of
from app.storage.episodes import PLANS as STORED_PLANS
from tests.exports.test_csv_cells import TEXT

TODAY = date(2026, 3, 2)
SHELF = catalogue().measures
DAYS = st.dates(date(1950, 1, 1), TODAY)
MAYBE_DAY = st.none() | DAYS
ONSETS = st.none() | st.builds(
    lambda day, parts: Onset(*(day.year, day.month, day.day)[:parts]),
    DAYS,
    st.integers(1, 3),
)
WORDS = TEXT.map(str.strip)
LABELS = WORDS.filter(bool)
SIZED: tuple[dict[str, tuple[str, str]], ...] = (
    {},
    {"height": ("170", "cm")},
    {"height": ("66.5", "in"), "weight": ("70", "kg")},
)
FACTS = st.fixed_dictionaries(
    {},
    optional={key: st.sampled_from(list(words)) for key, words in PERSON_FACTS.items()},
)


@st.composite
def precautions(draw: st.DrawFn, opened: date) -> PrecautionCell:
    ended = draw(st.none() | st.dates(opened, TODAY))
    return PrecautionCell(
        tag=draw(st.sampled_from(list(PRECAUTIONS))),
        set_on=opened,
        review_on=draw(st.none() | st.dates(opened, date(2027, 1, 1))),
        ended_on=ended,
        set_by=draw(WORDS),
        note=draw(WORDS),
        why_ended=draw(WORDS) if ended else "",
    )


@st.composite
def ends(draw: st.DrawFn, opened: date) -> dict[str, Any]:
    """A reason only where there is a day."""
    closed = draw(st.none() | st.dates(opened, TODAY))
    why = draw(st.sampled_from(("", *EPISODE_ENDS))) if closed else ""
    return {"closed_on": closed, "end_reason": why}


@st.composite
def cares(draw: st.DrawFn) -> CareCells:
    opened = draw(DAYS)
    return CareCells(
        reason=draw(LABELS),
        setting=draw(st.sampled_from(list(SETTINGS))),
        plan=draw(st.sampled_from(("restore", "maintain"))),
        opened_on=opened,
        precautions=tuple(draw(st.lists(precautions(opened), max_size=3))),
        order_on=draw(MAYBE_DAY),
        plan_on=draw(MAYBE_DAY),
        prior_self_care=draw(st.sampled_from(("", *PRIOR_LEVELS))),
        prior_mobility=draw(st.sampled_from(("", *PRIOR_LEVELS))),
        lives_with=draw(st.sampled_from(("", *LIVES_WITH))),
        **draw(ends(opened)),
    )


@st.composite
def patients(draw: st.DrawFn) -> PatientRow:
    born = draw(MAYBE_DAY)
    conditions = draw(
        st.dictionaries(st.sampled_from(list(CONDITIONS)), ONSETS, max_size=4)
    )
    return PatientRow(
        label=draw(LABELS),
        birth_year=None if born else draw(st.none() | st.integers(1900, 2026)),
        birth_date=born,
        sex=draw(st.sampled_from((None, "female", "male"))),
        conditions=conditions,
        sides={
            name: draw(st.sampled_from(list(SIDES)))
            for name in conditions
            if name in SIDED and draw(st.booleans())
        },
        facts=draw(FACTS),
        care=draw(st.none() | cares()),
        invented=draw(st.booleans()),
        sizes=draw(
            st.sampled_from(
                (
                    {},
                    {"height": ("170", "cm")},
                    {"height": ("66.5", "in"), "weight": ("70", "kg")},
                )
            )
        ),
        full_name=draw(WORDS),
        record_number=draw(WORDS.filter(lambda text: len(text) <= 40)),
    )


@st.composite
def timed(draw: st.DrawFn) -> TrialCell:
    ms = draw(st.integers(1, 36_000_000))
    seconds = Decimal(ms) / 1000
    walk = SHELF["timed_up_and_go"]
    return TrialCell(
        value=time_cell(ms),
        unit="s",
        practice=draw(st.booleans()),
        unusual=not walk.lowest <= seconds <= walk.highest,
        splits_ms=tuple(sorted(draw(st.lists(st.integers(1, 99_999_000), max_size=4)))),
        voided=draw(WORDS),
    )


@st.composite
def without_number(draw: st.DrawFn) -> TrialCell:
    outcome = draw(st.sampled_from(("unable", "stopped", "declined", "not_done")))
    reasons = st.sampled_from(list(UNABLE_REASONS)) if outcome == "unable" else WORDS
    return TrialCell(outcome, draw(reasons), practice=draw(st.booleans()))


@st.composite
def scores(draw: st.DrawFn) -> ScoreRow:
    trials = draw(st.lists(timed() | without_number(), min_size=1, max_size=4))
    return ScoreRow(
        label=draw(LABELS),
        on=draw(DAYS),
        measure="timed_up_and_go",
        variant=draw(st.sampled_from(("", "fastest_of_three"))),
        trials=tuple(trials),
        facts=draw(st.sampled_from(({}, {"device": "none", "seat_height": "17.5 in"}))),
        by=draw(WORDS),
        invented=draw(st.booleans()),
    )


def read_back(text: str) -> list[PatientRow | ScoreRow | None]:
    read = list(rows_of(io.BytesIO(text.encode()), SHELF, TODAY))
    assert [each.problems for each in read if each.problems] == []
    return [each.row for each in read]


def problems(text: str | bytes) -> list[Problem]:
    content = text.encode() if isinstance(text, str) else text
    read = rows_of(io.BytesIO(content), SHELF, TODAY)
    return [problem for each in read for problem in each.problems]


@given(st.lists(patients(), max_size=3))
def test_patients_come_back(rows: list[PatientRow]) -> None:
    assert read_back("".join(patients_csv(iter(rows)))) == rows


@given(st.lists(scores(), max_size=3))
def test_scores_come_back(rows: list[ScoreRow]) -> None:
    assert read_back("".join(scores_csv(iter(rows)))) == rows


@pytest.mark.parametrize(
    "trial",
    [
        TrialCell(value="9.5", unit="in", marks=("3.5", "13")),
        TrialCell(value="24.0", unit="cm"),
        TrialCell(value="40", unit="in", unusual=True),
        TrialCell("unable", "pain"),
    ],
)
def test_reach_comes_back_as_typed(trial: TrialCell) -> None:
    row = ScoreRow("Blue 7", TODAY, "functional_reach", trials=(trial,))

    assert read_back("".join(scores_csv(iter([row])))) == [row]


@pytest.mark.parametrize(
    "trial",
    [
        TrialCell(value="0"),
        TrialCell(value="12", splits_ms=(2100, 4300)),
        TrialCell(value="9", inputs={"arms_needed": "yes"}),
        TrialCell("unable", "physical"),
    ],
)
def test_count_comes_back_with_its_tick(trial: TrialCell) -> None:
    row = ScoreRow("Blue 7", TODAY, "thirty_second_chair_stand", trials=(trial,))

    assert read_back("".join(scores_csv(iter([row])))) == [row]


def test_semicolons_and_any_order_of_columns_are_read() -> None:
    (row,) = read_back("sex;label\nfemale;Blue 7\n")

    assert row == PatientRow("Blue 7", sex="female")


PATIENT = ",".join(PATIENT_COLUMNS[:-1])
CARE = "falls,community,restore"
BAD_PATIENTS = [
    ("Blue 7,1948,1948-03-09", "birth_year"),
    ("Blue 7,48", "birth_year"),
    ("Blue 7,2027", "birth_year"),
    ("Blue 7,,9.3.1948", "birth_date"),
    ("Blue 7,,2026-03-03", "birth_date"),
    ("Blue 7,,1948-02-30", "birth_date"),
    (",1948", "label"),
    (f"{'x' * 81},1948", "label"),
    ("Blue 7,,,f", "sex"),
    ("Blue 7,,,,flu", "conditions"),
    ("Blue 7,,,,stroke | 2025-01-01", "conditions"),
    ("Blue 7,,,,stroke; stroke", "conditions"),
    ("Blue 7,,,,,fall_history=often", "facts"),
    ("Blue 7,,,,,shoe_size=9", "facts"),
    ("Blue 7,,,,,fall_history", "facts"),
    (f"Blue 7,,,,,,{CARE},", "opened_on"),
    ("Blue 7,,,,,,,community,restore,2026-01-01", "reason"),
    ("Blue 7,,,,,,falls,moon,restore,2026-01-01", "setting"),
    ("Blue 7,,,,,,falls,community,improve,2026-01-01", "plan"),
    (f"Blue 7,,,,,,{CARE},2026-01-02,2026-01-01", "closed_on"),
    (f"Blue 7,,,,,,{CARE},2026-01-02,,careful", "precautions"),
    (f"Blue 7,,,,,,{CARE},2026-01-02,,oxygen | since 2026-01-01", "precautions"),
    (f"Blue 7,,,,,,{CARE},2026-01-02,,oxygen | ended 2026-01-01", "precautions"),
    (f"Blue 7,,,,,,{CARE},2026-01-02,,oxygen | why no need", "precautions"),
    (f"Blue 7,,,,,,{CARE},2026-01-02,,oxygen | note {'x' * 501}", "precautions"),
]


@pytest.mark.parametrize(("row", "column"), BAD_PATIENTS)
def test_bad_patient_is_told_by_line_and_column(row: str, column: str) -> None:
    found = problems(f"{PATIENT}\nGreen 2,1950\n{row}\n")

    assert {(p.line, p.column) for p in found} == {(3, column)}


BAD_SCORES = [
    ("Blue 7,2026-03-03,timed_up_and_go,,16 s", "date"),
    ("Blue 7,1 March,timed_up_and_go,,16 s", "date"),
    ("Blue 7,,timed_up_and_go,,16 s", "date"),
    ("Blue 7,2026-03-01,get_up_and_go,,16 s", "measure"),
    ("Blue 7,2026-03-01,timed_up_and_go,best,16 s", "variant"),
    ("Blue 7,2026-03-01,timed_up_and_go,,", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,0 s", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 in", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16.2345", "trials"),
    ('Blue 7,2026-03-01,timed_up_and_go,,"16,2"', "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16000", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,99999 | unusual", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 | fast", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 | reason pain", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 | from 1 to 2", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 | voided", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 | splits 3 2", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 | input beats=3", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,unable | reason tired", "reason"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 s,unable", "trials"),
    ("Blue 7,2026-03-01,timed_up_and_go,,,gave up", "outcome"),
    ("Blue 7,2026-03-01,timed_up_and_go,,,unable,tired", "reason"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 s,,,shoes=red", "facts"),
    ("Blue 7,2026-03-01,timed_up_and_go,,16 s,,,seat_height=2 in", "facts"),
    ("Blue 7,2026-03-01,functional_reach,,9.5 in | from 3 to 13", "trials"),
    ("Blue 7,2026-03-01,functional_reach,,9.5 in | from 1..5 to 13", "trials"),
    (",2026-03-01,timed_up_and_go,,16 s", "label"),
    (f"Blue 7,2026-03-01,timed_up_and_go,,{'16; ' * 51}", "trials"),
    (f"Blue 7,2026-03-01,timed_up_and_go,,16 s,,,,{'x' * 81}", "by"),
]


@pytest.mark.parametrize(("row", "column"), BAD_SCORES)
def test_bad_score_is_told_by_line_and_column(row: str, column: str) -> None:
    found = problems(
        f"label,date,measure,variant,trials,outcome,reason,facts,by\n{row}\n"
    )

    assert [(p.line, p.column) for p in found] == [(2, column)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "'label' is missing"),
        ("name,born\nA,1948\n", "no column 'name'"),
        ("label,label\nA,B\n", "stands there twice"),
        ("label,measure,trials\nA,timed_up_and_go,16\n", "'date' is missing"),
        (b"label\nJos\xe9\n", "UTF-8"),
        (b"label,sex\nBlue 7\0,female\n", "NUL"),
    ],
)
def test_file_of_another_kind_is_told(text: str | bytes, says: str) -> None:
    (problem,) = problems(text)

    assert says in problem.says


def test_every_problem_of_a_row_is_told_at_once() -> None:
    found = problems("label,birth_year,sex\n,48,f\n")

    assert {p.column for p in found} == {"label", "birth_year", "sex"}


def test_example_of_the_readme_is_good() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text()
    examples = [part.split("```")[0] for part in text.split("```csv\n")[1:]]

    assert [len(read_back(example)) for example in examples] == [1, 3]


def test_plans_are_those_of_storage() -> None:
    assert PLANS == STORED_PLANS


def test_every_column_is_described() -> None:
    assert tuple(caseload_columns.PATIENTS) == PATIENT_COLUMNS
    assert tuple(caseload_columns.SCORES) == SCORE_COLUMNS
