"""Marked parts of a trial beside those of its key.

A mark that was left out must not make all later ones look late: marks are laid beside
the key's in their order so that all differences together are least. With as many marks
as parts, each is laid beside its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from app.practice.agreement import Limits, limits_of_agreement
from app.practice.attempt import Attempt

Pair = tuple[int | None, int | None]


def beside_key(said: Sequence[int], key: Sequence[int]) -> tuple[Pair, ...]:
    """Each part of the key with its mark, and marks that have none; in order.

    >>> beside_key((2_100, 9_000), (2_000, 5_000, 8_900))
    ((2100, 2000), (None, 5000), (9000, 8900))
    """
    if len(said) <= len(key):
        chosen = _chosen(said, key)
        return tuple((chosen.get(i), at) for i, at in enumerate(key))
    chosen = _chosen(key, said)
    return tuple((at, chosen.get(i)) for i, at in enumerate(said))


def _chosen(few: Sequence[int], many: Sequence[int]) -> dict[int, int]:
    """Where among the many each of the few lies, in their order, nearest in all."""
    room = len(many) - len(few)
    # best[i][skipped]: the least sum for the first i, with so many left out before.
    best = [[0] * (room + 1)]
    for i, one in enumerate(few):
        row: list[int] = []
        for skipped in range(room + 1):
            here = best[-1][skipped] + abs(one - many[i + skipped])
            row.append(min(here, row[-1]) if row else here)
        best.append(row)
    found: dict[int, int] = {}
    skipped = room
    for i in range(len(few), 0, -1):
        while skipped and best[i][skipped] == best[i][skipped - 1]:
            skipped -= 1
        found[i - 1 + skipped] = few[i - 1]
    return found


def offs(said: Sequence[int], key: Sequence[int]) -> tuple[int | None, ...]:
    """How late each part of the key was marked, ms; None for one that was not."""
    if not said:
        return (None,) * len(key)
    pairs = [(mark, at) for mark, at in beside_key(said, key) if at is not None]
    return tuple(None if mark is None else mark - at for mark, at in pairs)


@dataclass(frozen=True, slots=True)
class PartFigures:
    """How one part was marked over several trials; no limits below the least number."""

    name: str
    marked: int
    limits: Limits | None


def parts_of(
    attempts: Sequence[Attempt], names: Sequence[str]
) -> tuple[PartFigures, ...]:
    """Each named part of a test: shown, and never asked for by a sign-off.

    Empty where nobody marked any.
    """
    found = []
    for i, name in enumerate(names):
        late = [
            float(off)
            for a in attempts
            if len(a.split_offs_ms) == len(names)
            and (off := a.split_offs_ms[i]) is not None
        ]
        found.append(PartFigures(name, len(late), limits_of_agreement(late)))
    return tuple(found) if any(part.marked for part in found) else ()
