"""A bundle as JSON text in which every decimal keeps its own digits.

FHIR counts the digits of a decimal as part of its meaning: 12.0 is not 12. A float
would lose them, so numbers are written from the Decimal itself.
"""

import json
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from app.typed import as_typed


def fhir_json(value: Any) -> str:
    """JSON without blanks; dicts, lists, texts, booleans, integers and Decimals.

    >>> fhir_json({"value": Decimal("12.0"), "ok": True})
    '{"value":12.0,"ok":true}'
    """
    return "".join(_parts(value))


def _parts(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        yield "{"
        for place, (key, held) in enumerate(value.items()):
            yield f"{',' * (place > 0)}{_text(key)}:"
            yield from _parts(held)
        yield "}"
    elif isinstance(value, list | tuple):
        yield "["
        for place, held in enumerate(value):
            yield "," * (place > 0)
            yield from _parts(held)
        yield "]"
    elif isinstance(value, Decimal):
        yield f"{value:f}"
    elif isinstance(value, str | bool | int):
        yield _text(value)
    else:
        raise TypeError(f"{type(value).__name__} has no place in a bundle")


def _text(value: str | bool | int) -> str:
    sound = as_typed(value) if isinstance(value, str) else value
    return json.dumps(sound, ensure_ascii=False)
