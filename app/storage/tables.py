"""The root of every table, and the words its CHECKs are built from.

Table models do not validate, so every range and closed list is a CHECK of the database.
The expressions here mean the same to SQLite and PostgreSQL.
"""

from collections.abc import Iterable
from typing import ClassVar

from pydantic import ConfigDict
from sqlalchemy import CheckConstraint, Index, MetaData, text
from sqlmodel import Field, SQLModel

HEX = "0123456789abcdef"
WORD = "abcdefghijklmnopqrstuvwxyz_"
#: Named from the first migration on: SQLite can only change what has a name.
NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

#: Where an index keeps its rule until PostgreSQL is told of it.
RULE = "rule"


class Table(SQLModel):
    """What one table's rows are; subclasses say `table=True`."""

    # A tenth of a start went into validators that rows never ask for.
    model_config = ConfigDict(defer_build=True)  # type: ignore[assignment]

    metadata: ClassVar[MetaData] = MetaData(naming_convention=NAMES)


class Numbered(Table):
    """A table whose rows have a number of their own, given by the database."""

    id: int = Field(default=None, primary_key=True)


def check(name: str, rule: str) -> CheckConstraint:
    return CheckConstraint(rule, name=name)


def partial_index(
    name: str, *columns: str, rule: str, unique: bool = False, on_sqlite: str = ""
) -> Index:
    """An index of those rows alone that `rule` takes in; SQLite's words may differ.

    What PostgreSQL is told waits for `tell_postgresql`: said here, it would load that
    dialect with all its drivers at every start, on a file too.
    """
    only = text(on_sqlite or rule)
    return Index(name, *columns, unique=unique, sqlite_where=only, info={RULE: rule})


def tell_postgresql(known: MetaData) -> None:
    """Before tables are made from these or compared with them: migrations do."""
    for table in known.tables.values():
        for index in table.indexes:
            if RULE in index.info:
                index.dialect_options["postgresql"]["where"] = text(index.info[RULE])


def is_one_of(column: str, words: Iterable[str]) -> str:
    """The column holds one of a closed list; an empty column passes."""
    listed = ", ".join("'" + word.replace("'", "''") + "'" for word in words)
    return f"{column} IN ({listed})"


def one_of(column: str, words: Iterable[str]) -> CheckConstraint:
    return check(column, is_one_of(column, words))


def between(column: str, low: int, high: int, *, called: str = "") -> CheckConstraint:
    """A whole number in a range; SQLite would keep a fraction in a whole column.

    `called` where the rule has the name that its column once had.
    """
    whole = f"{column} = CAST({column} AS INTEGER)"
    rule = f"{column} BETWEEN {low} AND {high} AND {whole}"
    return check(called or column, rule)


def length(column: str, low: int, high: int) -> CheckConstraint:
    return check(column, f"length({column}) BETWEEN {low} AND {high}")


def is_only(column: str, letters: str) -> str:
    """Nothing is left of the column when these letters are trimmed off."""
    return f"ltrim({column}, '{letters}') = ''"


def hexadecimal(column: str, size: int) -> CheckConstraint:
    return check(column, f"length({column}) = {size} AND {is_only(column, HEX)}")


def uid() -> CheckConstraint:
    """The id made on the phone: 16 bytes as 32 lower-case hexadecimal characters."""
    return hexadecimal("uid", 32)


def word(column: str) -> CheckConstraint:
    """One plain word, so that no text of a person can be put there."""
    return check(
        column, f"length({column}) BETWEEN 1 AND 40 AND {is_only(column, WORD)}"
    )


def number_text(column: str) -> str:
    """A plain decimal as typed: digits and at most one point."""
    points = f"length({column}) - length(replace({column}, '.', ''))"
    digits = is_only(column, "0123456789.")
    return (
        f"length({column}) BETWEEN 1 AND 12 AND {digits} AND {points} <= 1 "
        f"AND {column} <> '.'"
    )


def signed_number_text(column: str) -> str:
    """The same with a minus sign before it or none: a seat lower than the knee."""
    digits = f"replace({column}, '-', '')"
    return (
        f"{number_text(digits)} "
        f"AND substr({column}, 2) = replace(substr({column}, 2), '-', '')"
    )
