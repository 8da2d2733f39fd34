"""Cells that no spreadsheet runs, and that come back as they went."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.exports.csv_cells import (
    LONGEST_LINE,
    BadFile,
    escaped,
    join,
    plain,
    read,
    safe,
    split,
    unescaped,
    written,
)
from app.typed import as_typed

#: Anything that text may hold in a file, signs and marks more often than usual.
TEXT = st.text(
    st.one_of(
        st.sampled_from("=+-@'\";|,\\\t\r\n＝＋－＠ "),
        st.characters(codec="utf-8", exclude_characters="\0"),
    ),
    max_size=30,
).map(as_typed)


def read_back(text: str) -> list[dict[str, str]]:
    _, rows = read(io.BytesIO(text.encode()))
    return [dict(row.by_column) for row in rows]


@given(TEXT)
def test_cell_comes_back_as_it_was(text: str) -> None:
    assert plain(safe(text)) == text


@given(TEXT)
def test_no_cell_begins_like_a_formula(text: str) -> None:
    assert not safe(text).startswith(tuple("=+-@\t\r\n＝＋－＠"))


@given(st.lists(TEXT.map(str.strip).filter(bool), max_size=5), st.sampled_from(";|"))
def test_parts_of_a_cell_come_back(parts: list[str], mark: str) -> None:
    cell = join(map(escaped, parts), mark)

    assert [unescaped(part) for part in split(cell, mark)] == parts


@given(st.lists(st.tuples(TEXT, TEXT), max_size=5))
def test_file_comes_back(rows: list[tuple[str, str]]) -> None:
    told = [{"a": a.strip(), "b": b.strip()} for a, b in rows]
    text = "".join(written(["a", "b"], told))

    assert read_back(text) == [row for row in told if row["a"] or row["b"]]


@given(st.lists(st.tuples(TEXT, TEXT), min_size=1, max_size=5))
def test_other_programs_find_the_same_rows(rows: list[tuple[str, str]]) -> None:
    told = [{"a": a.strip(), "b": b.strip()} for a, b in rows]
    text = "".join(written(["a", "b"], told))
    found = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))

    assert [[plain(cell) for cell in row] for row in found[1:]] == [
        [row["a"], row["b"]] for row in told
    ]


@pytest.mark.parametrize(
    "text",
    [
        "a,b\r\n1,2\r\n",
        "a;b\n1;2\n",
        "\ufeffa,b\n1,2",
        '"a";"b"\n"1";"2"\n',
        " A , B \n 1 , 2 \n\n,\n",
        '\ufeff"a","b"\n1,2\n',
    ],
)
def test_usual_dialects_are_read(text: str) -> None:
    assert read_back(text) == [{"a": "1", "b": "2"}]


def test_row_knows_the_line_it_began_on() -> None:
    _, rows = read(io.BytesIO(b'a,b\n"1\n2",x\n3,y\n'))

    assert [row.line for row in rows] == [2, 4]


@pytest.mark.parametrize(
    ("content", "line", "says"),
    [
        (b"a,b\nJos\xe9,2\n", 2, "UTF-8"),
        (b"a,b\n1,2\n\0,2\n", 3, "NUL"),
        (b"a,b\n" + b"x" * 2_000_000 + b",1\n", 2, "too long"),
        (b"x" * (LONGEST_LINE + 1), 1, "too long"),
        (b"a,b\n1,2,3\n", 2, "3 cells for 2 columns"),
        (b'a,b\n"1"x,2\n', 2, "no CSV row"),
        (b'a,b\n"1,2\n', 2, "no CSV row"),
        (b"a,b\r1,2\r", 1, "no CSV row"),
        (b"PK\x03\x04\x14\x00", 1, "NUL"),
        (b"\xff\xfea\x00,\x00b\x00", 1, "UTF-8"),
    ],
)
def test_file_that_is_none_is_told_with_its_line(
    content: bytes, line: int, says: str
) -> None:
    with pytest.raises(BadFile) as bad:
        list(read(io.BytesIO(content))[1])

    assert says in bad.value.says
    assert bad.value.line == line


def test_quoted_rest_of_a_file_is_not_read_into_memory() -> None:
    """A quote that is never closed would make the whole file one cell."""
    content = b'a,b\n"' + b"x,y\n" * 200_000

    with pytest.raises(BadFile):
        list(read(io.BytesIO(content))[1])
