"""What a demo patient's file says of the person: conditions, facts, body sizes."""

import re
from decimal import Decimal
from typing import Final

from app.catalogue.fields import Table
from app.clinical.vocabulary import CONDITIONS, PERSON_FACTS, SIZES

_SIZE: Final = re.compile(r"\d{1,3}(?:\.\d{1,2})?", re.ASCII)


def read_conditions(t: Table) -> dict[str, int | None]:
    found = {}
    for row in t.tables("condition"):
        name = row.word("name", CONDITIONS)
        found[name] = _days(row) if row.has("since_days") else None
        row.done()
    return found


def read_facts_of(t: Table) -> dict[str, str]:
    facts = Table(t.table("facts"), f"{t.where}: facts")
    found = {
        key: facts.word(key, options)
        for key, options in PERSON_FACTS.items()
        if facts.has(key)
    }
    facts.done()
    return found


def _days(row: Table) -> int:
    days = row.whole("since_days")
    if days is None or days < 0:
        raise row.wrong("since_days", "must be a whole number of days, 0 or more")
    return days


def read_sizes(t: Table) -> dict[str, tuple[str, str]]:
    """Body sizes like `lower_leg = "16 in"`, within what people measure."""
    sizes = Table(t.table("sizes"), f"{t.where}: sizes")
    found = {}
    for key, (label, units) in SIZES.items():
        if not sizes.has(key):
            continue
        value, _, unit = sizes.text(key).partition(" ")
        low, high = units.get(unit, (1, 0))
        if not _SIZE.fullmatch(value) or not low <= Decimal(value) <= high:
            raise sizes.wrong(key, f"{label}: write a number and a unit like '16 in'")
        found[key] = (value, unit)
    sizes.done()
    return found
