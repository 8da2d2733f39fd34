"""Demo data read by the readers of the pages' own forms."""

from collections.abc import Callable, Mapping
from typing import Any

from app.catalogue.fields import Table
from app.web.deps import Form

Said = Mapping[str, Any]
Reader = Callable[[Form, dict[str, str]], dict[str, Any]]


def read_form(row: Table, fields: tuple[str, ...], read: Reader) -> Said:
    """Some keys of a table as a form has them; what that refuses is named."""
    errors: dict[str, str] = {}
    typed = Form((name, row.text(name)) for name in fields if row.has(name))
    said = read(typed, errors)
    for name, sentence in errors.items():
        raise row.wrong(name, sentence)
    return said
