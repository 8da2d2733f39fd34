"""Cells and lines of our CSV files: safe in a spreadsheet, and read back as written.

A spreadsheet runs a cell that begins like a formula. Such a cell gets an apostrophe in
front (the OWASP advice on CSV injection), which reading takes off again: a text that
began with apostrophes before such a sign gets one more, so that nothing is lost.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import BinaryIO, Final, Protocol

from app.typed import as_typed

#: What a spreadsheet may take for the start of a formula, full-width signs too.
SIGNS: Final = "=+\\-@\t\r\n＝＋－＠"
_RISKY: Final = re.compile(f"'*[{SIGNS}]")
_MARKED: Final = re.compile(f"'+[{SIGNS}]")
#: No row of ours comes near this; a longer line is no file of ours.
LONGEST_LINE: Final = 64 * 1024
BOM: Final = "\ufeff"


class _Reader(Protocol):
    """What `csv.reader` makes."""

    @property
    def line_num(self) -> int: ...

    def __next__(self) -> list[str]: ...


class BadFile(Exception):
    """A file that cannot be read on. `line` is where, and the message says why."""

    def __init__(self, line: int, says: str) -> None:
        super().__init__(says)
        self.line, self.says = line, says


@dataclass(frozen=True, slots=True)
class Cells:
    """One row: its line in the file, and its cells by column, blanks round them off."""

    line: int
    by_column: Mapping[str, str]


def safe(text: str) -> str:
    """The cell as it is written.

    >>> safe("=1+1"), safe("'=x"), safe("'tis")
    ("'=1+1", "''=x", "'tis")
    """
    return f"'{text}" if _RISKY.match(text) else text


def plain(cell: str) -> str:
    """The cell as it was meant: what `safe` put before it is taken off."""
    return cell[1:] if _MARKED.match(cell) else cell


def join(parts: Iterable[str], mark: str) -> str:
    """Parts of one cell, the mark between them."""
    return f"{mark} ".join(parts) if mark == ";" else f" {mark} ".join(parts)


def escaped(text: str) -> str:
    """Somebody's words inside a cell of several parts: a mark of theirs is no mark."""
    return re.sub(r"([\\;|])", r"\\\1", text)


def unescaped(text: str) -> str:
    return re.sub(r"\\(.)", r"\1", text, flags=re.DOTALL)


def split(cell: str, mark: str) -> list[str]:
    """The parts of a cell, still escaped; what is blank is no part."""
    parts, start, place = [], 0, 0
    while place < len(cell):
        if cell[place] == "\\":
            place += 1
        elif cell[place] == mark:
            parts.append(cell[start:place])
            start = place + 1
        place += 1
    parts.append(cell[start:])
    return [part.strip() for part in parts if part.strip()]


def written(columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> Iterator[str]:
    """The lines of a file, with the mark by which spreadsheets know UTF-8."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer)
    buffer.write(BOM)
    writer.writerow(columns)
    yield buffer.getvalue()
    for row in rows:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow([safe(row.get(column, "").strip()) for column in columns])
        yield buffer.getvalue()


def _lines(stream: BinaryIO) -> Iterator[str]:
    """The lines of a file as text; raise BadFile for what is none."""
    number = 0
    while raw := stream.readline(LONGEST_LINE + 1):
        number += 1
        if len(raw) > LONGEST_LINE:
            raise BadFile(number, "This line is too long to be a row of ours.")
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError as fault:
            raise BadFile(
                number, "This is not UTF-8 text. Save the file as CSV UTF-8."
            ) from fault
        if "\0" in text:
            raise BadFile(number, "There is a NUL character in this line.")
        yield as_typed(text.removeprefix(BOM) if number == 1 else text)


def read(stream: BinaryIO) -> tuple[list[str], Iterator[Cells]]:
    """The columns of a file, and its rows one by one. Both may raise BadFile."""
    lines = _lines(stream)
    first = next(lines, "")
    both = chain([first], lines)
    reader = csv.reader(both, delimiter=_mark_of(first), strict=True)
    columns = [plain(name).strip().lower() for name in _row(reader) or []]
    return columns, _rows(reader, columns)


def _mark_of(first: str) -> str:
    """Comma or semicolon, by the line of column names; a comma when there is none."""
    try:
        return csv.Sniffer().sniff(first, delimiters=",;").delimiter
    except csv.Error:
        return ","


def _row(reader: _Reader) -> list[str] | None:
    """The next row; None at the end."""
    try:
        return next(reader)
    except StopIteration:
        return None
    except csv.Error as fault:
        raise BadFile(reader.line_num, f"This is no CSV row ({fault}).") from fault


def _rows(reader: _Reader, columns: Sequence[str]) -> Iterator[Cells]:
    while True:
        line = reader.line_num + 1
        row = _row(reader)
        if row is None:
            return
        if len(row) > len(columns):
            raise BadFile(
                line,
                f"{len(row)} cells for {len(columns)} columns. Put a cell that holds a "
                "comma or semicolon in double quotes.",
            )
        cells = dict(zip(columns, (plain(cell).strip() for cell in row), strict=False))
        if any(cells.values()):
            yield Cells(line, cells)
