"""One hash over what rows say, whatever file they come in and whatever their order.

Two files with the same hash hold the same plain values. Nothing else goes in: no line
ends, no quotes, no order of rows or keys. A row that stands there twice counts twice.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

Row = TypeVar("Row")


def content_hash(rows: Iterable[object]) -> str:
    """The hash over dataclasses, mappings or plain values.

    >>> content_hash([{"a": 1}, {"b": 2}]) == content_hash([{"b": 2}, {"a": 1}])
    True
    """
    return _over(map(_digest, rows))


def _digest(row: object) -> bytes:
    told = json.dumps(plain(row), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(told.encode()).digest()


def plain(value: Any) -> Any:
    """The value as JSON knows it; a text without blanks round it, as cells hold it."""
    if is_dataclass(value) and not isinstance(value, type):
        named = {each.name: getattr(value, each.name) for each in fields(value)}
        return {"is": type(value).__name__, **plain(named)}
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, str):
        return value.strip()
    if value is None or isinstance(value, bool | int):
        return value
    raise TypeError(f"{type(value).__name__} is no plain value")


class Hashing:
    """Rows on their way into a file, of which the hash is asked once all went by."""

    def __init__(self) -> None:
        self._each: list[bytes] = []

    def passing(self, rows: Iterable[Row]) -> Iterator[Row]:
        for row in rows:
            self._each.append(_digest(row))
            yield row

    @property
    def hash(self) -> str:
        return _over(self._each)


def _over(digests: Iterable[bytes]) -> str:
    return hashlib.sha256(b"".join(sorted(digests))).hexdigest()
