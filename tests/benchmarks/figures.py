"""What every measurement gives: a figure beside its baseline, with its budget."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Final

SQLITE: Final = "SQLite"
POSTGRESQL: Final = "PostgreSQL"


@dataclass(frozen=True, slots=True)
class Figure:
    """One number that was measured.

    `baseline` was measured in the same run, in the same unit, and `against` says what
    it is. `most` or `least` is the budget for `value`; `most_ratio` the one for value /
    baseline. `note` is for what a reader must know beside it, such as the load.
    """

    what: str
    value: float
    unit: str
    database: str = ""
    baseline: float | None = None
    against: str = ""
    most: float | None = None
    least: float | None = None
    most_ratio: float | None = None
    note: str = ""

    @property
    def ratio(self) -> float | None:
        """Value over baseline; None without a baseline, or with one of nothing."""
        return self.value / self.baseline if self.baseline else None

    @property
    def met(self) -> bool | None:
        """Whether it is within its budgets; None where it has none."""
        held = []
        if self.most is not None:
            held.append(self.value <= self.most)
        if self.least is not None:
            held.append(self.value >= self.least)
        if self.most_ratio is not None and self.ratio is not None:
            held.append(self.ratio <= self.most_ratio)
        return all(held) if held else None

    @property
    def budget(self) -> str:
        """In words, with units."""
        said = []
        if self.most is not None:
            said.append(f"<= {self.most:g} {self.unit}")
        if self.least is not None:
            said.append(f">= {self.least:g} {self.unit}")
        if self.most_ratio is not None:
            said.append(f"<= {self.most_ratio:g} x")
        return ", ".join(said)


@dataclass(frozen=True, slots=True)
class Options:
    """What a run is asked for.

    `quick` measures the same things on a small site, to see that they run: its figures
    are not for keeping. `new_database()` gives the address of an empty PostgreSQL
    database while it is open; it is None where no server can be made.
    """

    folder: Path
    quick: bool
    new_database: Callable[[], AbstractContextManager[str]] | None

    def databases(self) -> Iterator[str]:
        yield SQLITE
        if self.new_database is not None:
            yield POSTGRESQL

    def address(self, database: str) -> AbstractContextManager[str]:
        """Of a new database; empty on SQLite, whose file lies in the site's folder."""
        if database == SQLITE or self.new_database is None:
            return nullcontext("")
        return self.new_database()


#: A module of this package that measures has one of these, named `figures`.
Measuring = Callable[[Options], Iterator[Figure]]
