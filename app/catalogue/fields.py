"""Reading a TOML table strictly: a key is taken once, typed, or named in an error."""

from collections.abc import Collection, Mapping
from decimal import Decimal


class CatalogueError(Exception):
    """A catalogue file is wrong; the message names file, table and key."""


class Table:
    """A TOML table being taken apart. `done()` refuses keys nobody took."""

    def __init__(self, content: Mapping[str, object], where: str) -> None:
        self._left = dict(content)
        self.where = where

    def wrong(self, key: str, why: str) -> CatalogueError:
        return CatalogueError(f"{self.where}: {key}: {why}")

    def left(self) -> list[str]:
        """Keys nobody has taken yet."""
        return list(self._left)

    def has(self, key: str) -> bool:
        return key in self._left

    def raw(self, key: str) -> object:
        if key not in self._left:
            raise self.wrong(key, "is missing")
        return self._left.pop(key)

    def text(self, key: str, default: str | None = None) -> str:
        if key not in self._left and default is not None:
            return default
        value = self.raw(key)
        if not isinstance(value, str):
            raise self.wrong(key, "must be text")
        if default is None and not value.strip():
            raise self.wrong(key, "is empty")
        return value.strip()

    def word(
        self, key: str, allowed: Collection[str], default: str | None = None
    ) -> str:
        value = self.text(key, default)
        if value not in allowed:
            raise self.wrong(key, f"{value!r} is not one of {', '.join(allowed)}")
        return value

    def words(
        self, key: str, allowed: Collection[str] | None = None
    ) -> tuple[str, ...]:
        """A list of text (absent: empty), each from `allowed` when that is given."""
        if key not in self._left:
            return ()
        value = self.raw(key)
        if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
            raise self.wrong(key, "must be a list of text")
        for v in value:
            if allowed is not None and v not in allowed:
                raise self.wrong(key, f"{v!r} is not one of {', '.join(allowed)}")
        return tuple(value)

    def flag(self, key: str, default: bool = False) -> bool:
        value = self._left.pop(key, default)
        if not isinstance(value, bool):
            raise self.wrong(key, "must be true or false")
        return value

    def whole(self, key: str) -> int | None:
        if key not in self._left:
            return None
        value = self.raw(key)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.wrong(key, "must be a whole number")
        return value

    def number(self, key: str) -> Decimal | None:
        return self._number(key, self.raw(key)) if key in self._left else None

    def numbers(self, key: str) -> tuple[Decimal, ...]:
        if key not in self._left:
            return ()
        value = self.raw(key)
        if not isinstance(value, list):
            raise self.wrong(key, "must be a list of numbers")
        return tuple(self._number(key, v) for v in value)

    def interval(self, key: str) -> tuple[Decimal, Decimal] | None:
        pair = self.numbers(key)
        if not pair:
            return None
        if len(pair) != 2 or pair[0] > pair[1]:
            raise self.wrong(key, "must be [lower, upper]")
        return pair[0], pair[1]

    def table(self, key: str) -> Mapping[str, object]:
        """A sub-table (absent: empty)."""
        value = self._left.pop(key, {})
        if not isinstance(value, dict):
            raise self.wrong(key, "must be a table")
        return value

    def tables(self, key: str) -> list["Table"]:
        """An array of tables (absent: none), each knowing its place."""
        value = self._left.pop(key, [])
        if not isinstance(value, list):
            raise self.wrong(key, "must be [[tables]]")
        return [Table(t, f"{self.where}: {key} {i}") for i, t in enumerate(value, 1)]

    def lists(self, key: str) -> dict[str, tuple[str, ...]]:
        """A sub-table of name -> text or list of text."""
        out: dict[str, tuple[str, ...]] = {}
        for name, value in self.table(key).items():
            many = value if isinstance(value, list) else [value]
            texts = [v for v in many if isinstance(v, str)]
            if not many or len(texts) != len(many):
                raise self.wrong(f"{key}.{name}", "must be text or a list of text")
            out[name] = tuple(texts)
        return out

    def done(self) -> None:
        if self._left:
            raise CatalogueError(
                f"{self.where}: unknown key {', '.join(sorted(self._left))}"
            )

    def _number(self, key: str, value: object) -> Decimal:
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            raise self.wrong(key, "must be a number")
        if not Decimal(value).is_finite():
            raise self.wrong(key, "must be a finite number")
        return Decimal(value)
