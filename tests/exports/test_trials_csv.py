"""trials.csv: the same rounds as scores.csv, there and back without a loss."""

import io
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.exports import caseload_columns
from app.exports.caseload_csv import SCORE_COLUMNS, ScoreRow, TrialCell, scores_csv
from app.exports.caseload_reading import rows_of
from app.exports.content_hash import Hashing, content_hash, plain
from app.exports.trials_csv import TRIAL_COLUMNS, NumberedRound, trials_csv
from tests.exports.test_caseload_csv import SHELF, TODAY, read_back, scores

REACH = ScoreRow(
    "Blue 7", date(2025, 3, 1), "functional_reach", "",
    (TrialCell(value="9.5", unit="in", marks=("3.5", "13")),
     TrialCell(value="9", unit="in", voided="=1; a slip | of mine")),
    {"device": "none"}, "ward3",
)  # fmt: skip
SEEN = ScoreRow(
    "Blue 7", date(2025, 3, 2), "orthostatic_vitals", "one_and_three",
    (TrialCell(value="142", unit="mmHg", inputs={"diastolic": "84", "when": "lying"}),
     TrialCell(value="118", unit="mmHg",
               inputs={"diastolic": "76", "when": "standing_1"})),
)  # fmt: skip


def written(rows: list[ScoreRow]) -> str:
    told = (NumberedRound(n, row) for n, row in enumerate(rows, 1))
    return "".join(trials_csv(told))


@given(st.lists(scores(), min_size=1, max_size=3))
def test_rounds_come_back_as_they_were(rows: list[ScoreRow]) -> None:
    """By either file, with the one hash of what they say."""
    rows = [replace(row, label=f"{n}{row.label}"[:80].strip())
            for n, row in enumerate(rows)]  # fmt: skip
    hashing = Hashing()
    by_score = read_back("".join(scores_csv(hashing.passing(iter(rows)))))
    by_trial = read_back(written(rows))

    assert by_trial == by_score == rows
    assert content_hash(by_trial) == content_hash(reversed(rows)) == hashing.hash


def test_marks_inputs_and_voids_come_back() -> None:
    text = written([REACH, SEEN])

    assert read_back(text) == [REACH, SEEN]
    assert "'=1; a slip | of mine" in text
    assert text.count("\r\n") == text.count("\n") == 5


def test_hash_tells_what_differs_and_nothing_else() -> None:
    other = replace(REACH, trials=(replace(REACH.trials[0], value="9.4"),))

    assert content_hash([REACH]) != content_hash([REACH, REACH])
    assert content_hash([REACH]) != content_hash([other])
    told = {"b": Decimal("1.50"), "a": (" x ", None, True, date(2025, 1, 2))}
    assert plain(told) == {"b": "1.50", "a": ["x", None, True, "2025-01-02"]}
    with pytest.raises(TypeError):
        plain(1.5)


HEAD = "label,date,round,trial,measure,outcome,value,unit,reason,voided,void_reason\n"
ONE = "A,2025-03-01,1,1,timed_up_and_go,completed,16,s,,,\n"


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (ONE.replace(",1,1,", ",1,2,"), "count them 1, 2, 3"),
        (ONE.replace(",1,1,", ",,1,"), "count them 1, 2, 3"),
        (ONE + ONE.replace(",1,1,", ",1,3,"), "count them 1, 2, 3"),
        (ONE + ONE.replace("1,1,timed", "1,2,timed").replace("03-01", "03-02"),
         "must say the same"),
        (ONE + ONE.replace("A,", "B,") + ONE, "stood further up"),
        (ONE.replace("completed,16,s", "completed,,"), "a number when it was"),
        (ONE.replace("completed", "declined"), "a number when it was"),
        (ONE.replace(",s,,,", ",s,,yes,"), "yes and why"),
        (ONE.replace(",s,,,", ",s,,maybe,why"), "yes, or nothing"),
        (ONE.replace("16,s", "16 s | practice,"), "is no"),
        (ONE.replace("16,s", "1600,s"), "outside what a trial can be"),
        (ONE.replace(",s,,", ",s,tired,"), "with a number has no reason"),
    ],
)  # fmt: skip
def test_bad_row_is_told(rows: str, says: str) -> None:
    read = list(rows_of(io.BytesIO((HEAD + rows).encode()), SHELF, TODAY))
    found = [problem.says for each in read for problem in each.problems]

    assert [each for each in found if says in each], found


def test_every_column_is_described() -> None:
    described = {**caseload_columns.SCORES, **caseload_columns.TRIALS}

    assert {*TRIAL_COLUMNS} == {*described} - {"trials"}
    assert not {*caseload_columns.TRIALS} & {*SCORE_COLUMNS}
