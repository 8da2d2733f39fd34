"""Questions put together once and asked with other values each time.

To put a statement together takes three times as long as asking it by key, so what the
pages of a patient ask is put together at its first asking.
"""

from collections.abc import Callable
from functools import cache, wraps
from inspect import signature
from typing import Any, Concatenate, ParamSpec, TypeVar, TypeVarTuple, overload

from sqlalchemy import ScalarResult, bindparam
from sqlalchemy.engine.result import TupleResult
from sqlmodel import Session, select
from sqlmodel.sql.expression import Select, SelectOfScalar

Values = ParamSpec("Values")
Row = TypeVar("Row")
Columns = TypeVarTuple("Columns")


@overload
def prepared(
    build: Callable[Values, SelectOfScalar[Row]],
) -> Callable[Concatenate[Session, Values], ScalarResult[Row]]: ...


@overload
def prepared(
    build: Callable[Values, Select[*Columns]],
) -> Callable[Concatenate[Session, Values], TupleResult[tuple[*Columns]]]: ...


def prepared(build: Callable[..., Any]) -> Callable[..., Any]:
    """What asks a session the statement that `build` makes of its arguments.

    `build` is called once, with a parameter in place of each argument, so it may only
    compare them with columns: a value that decides how the question reads, None among
    them, needs a question of its own. Asked with the session and then the values, all
    by place; one too many or too few raises ValueError.
    """
    names = tuple(signature(build).parameters)

    @cache
    def statement() -> Any:
        return build(*map(bindparam, names))

    @wraps(build)
    def ask(session: Session, *values: object) -> Any:
        given = dict(zip(names, values, strict=True))
        return session.exec(statement(), params=given)

    return ask


def rows_by(
    table: type[Row], column: str, *order: str
) -> Callable[[Session, int], ScalarResult[Row]]:
    """What asks for the rows of a table that have a value in a column, in order."""

    @prepared
    def rows(value: int) -> SelectOfScalar[Row]:
        return _ordered(select(table).where(getattr(table, column) == value), order)

    return rows


def rows_among(
    table: type[Row], column: str, *order: str
) -> Callable[[Session, list[int]], ScalarResult[Row]]:
    """The same with one of several values."""

    @prepared
    def rows(values: list[int]) -> SelectOfScalar[Row]:
        return _ordered(select(table).where(getattr(table, column).in_(values)), order)

    return rows


def _ordered(
    wanted: SelectOfScalar[Row], order: tuple[str, ...]
) -> SelectOfScalar[Row]:
    table = wanted.column_descriptions[0]["entity"]
    return wanted.order_by(*(getattr(table, name) for name in order))
