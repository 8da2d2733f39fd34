"""What a test or a benchmark hears the database being asked."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine, event

#: A statement and its values.
Query = tuple[str, Any]


@contextmanager
def heard(on: object, name: str, hear: Callable[..., None]) -> Iterator[None]:
    event.listen(on, name, hear)
    try:
        yield
    finally:
        event.remove(on, name, hear)


@contextmanager
def queries(of: Engine | type[Engine]) -> Iterator[list[Query]]:
    """Every query that reaches the database meanwhile, in turn."""
    asked: list[Query] = []

    def hear(_c: Any, _u: Any, statement: str, values: Any, *_rest: Any) -> None:
        if statement.lstrip()[:6].upper() in ("SELECT", "WITH"):
            asked.append((statement, values))

    with heard(of, "before_cursor_execute", hear):
        yield asked
