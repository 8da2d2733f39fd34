"""Rows of trials.csv put together to rounds again, each as scores.csv would tell it.

So one strict reader looks at both files. A round's rows stand one after the other and
agree on everything but the trial.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Final

from app.exports.csv_cells import BadFile, Cells, escaped, join, split
from app.exports.trials_csv import YES

NEEDED: Final = ("label", "date", "round", "trial", "measure", "outcome", "value")
#: What all rows of a round say alike.
ALIKE: Final = ("date", "measure", "variant", "facts", "by", "invented")
_TICKS: Final = ("practice", "unusual", "voided")


def whole_rounds(rows: Iterator[Cells]) -> Iterator[Cells]:
    """One row for each round, with the columns of scores.csv; raise BadFile."""
    seen = set()
    for (label, number), each in groupby(rows, key=_whose):
        trials = list(each)
        first = trials[0]
        if (label, number) in seen:
            raise BadFile(
                first.line, f"Round {number} of this label stood further up already."
            )
        seen.add((label, number))
        _check_alike(trials)
        told = join((_text(t) for t in trials), ";")
        alike = {column: first.by_column.get(column, "") for column in ALIKE}
        yield Cells(first.line, {"label": label, **alike, "trials": told})


def _whose(row: Cells) -> tuple[str, str]:
    return row.by_column.get("label", ""), row.by_column.get("round", "")


def _check_alike(trials: Sequence[Cells]) -> None:
    first = trials[0].by_column
    for place, row in enumerate(trials, 1):
        cells = row.by_column
        if not cells.get("round") or cells.get("trial") != str(place):
            raise BadFile(row.line, "round and trial: count them 1, 2, 3 in order.")
        astray = [c for c in ALIKE if cells.get(c, "") != first.get(c, "")]
        if astray:
            raise BadFile(
                row.line, f"{astray[0]}: the trials of one round must say the same."
            )


def _text(row: Cells) -> str:
    """The trial as a cell of scores.csv; whatever is typed stays what it is."""
    cells = {column: escaped(text) for column, text in row.by_column.items()}
    for column in _TICKS:
        if cells.get(column, "") not in ("", YES):
            raise BadFile(row.line, f"{column}: yes, or nothing.")
    if bool(cells.get("voided")) != bool(cells.get("void_reason")):
        raise BadFile(row.line, "voided: yes and why, or neither.")
    return join(_parts(row, cells), "|")


def _parts(row: Cells, cells: Mapping[str, str]) -> list[str]:
    done = cells.get("outcome") == "completed"
    value = f"{cells.get('value', '')} {cells.get('unit', '')}".strip()
    if done is not bool(value):
        raise BadFile(row.line, "value: a number when it was completed, else nothing.")
    parts = [value if done else cells.get("outcome", "")]
    marks = [cells.get(column, "") for column in ("start_mark", "end_mark")]
    if any(marks):
        parts.append(f"from {marks[0]} to {marks[1]}")
    if cells.get("reason"):
        parts.append(f"reason {cells['reason']}")
    inputs = split(row.by_column.get("inputs", ""), ";")
    parts += [f"input {told}" for told in inputs]
    if cells.get("splits"):
        parts.append(f"splits {cells['splits']}")
    parts += [word for word in ("practice", "unusual") if cells.get(word)]
    if cells.get("void_reason"):
        parts.append(f"voided {cells['void_reason']}")
    return parts
