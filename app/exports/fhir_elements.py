"""The small parts every FHIR resource is put together from.

Ids follow from keys that never change and hold no label; what is empty is left out,
since FHIR has no empty text and no empty list.
"""

import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from html import escape
from typing import Any, Final
from uuid import UUID, uuid5

from app.exports.fhir_codes import (
    ABSENT,
    HL7,
    LOCAL,
    LOINC,
    TEST_DATA,
    UCUM,
    UNITS,
)
from app.exports.fhir_values import Amount

Element = dict[str, Any]
_IDS: Final = UUID("6b1d4c6e-2d0f-5b7a-9a41-6f0f6f3c7e52")
#: What neither XML nor FHIR's texts may hold.
_CONTROL: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]"
)


def identity(key: str) -> str:
    """The id of what has this key: the same today and tomorrow, and telling nothing."""
    return str(uuid5(_IDS, key))


def reference(key: str) -> Element:
    return {"reference": f"urn:uuid:{identity(key)}"}


def references(keys: Iterable[str]) -> list[Element]:
    return [reference(key) for key in keys]


def moment(at: datetime) -> str:
    """A dateTime with its offset, as FHIR asks of every one that has a time."""
    if at.tzinfo is None:
        raise ValueError("a time without a zone has no offset")
    return at.isoformat(timespec="seconds")


def period(start: date | datetime, end: date | datetime | None = None) -> Element:
    return {"start": _when(start), "end": _when(end) if end is not None else None}


def _when(at: date | datetime) -> str:
    return moment(at) if isinstance(at, datetime) else at.isoformat()


def quantity(amount: Amount) -> Element:
    """A number with its unit in words and in UCUM."""
    return {
        "value": amount.value,
        "unit": amount.unit,
        "system": UCUM,
        "code": UNITS[amount.unit],
    }


def duration(minutes: int) -> Element:
    return quantity(Amount(Decimal(minutes), "min"))


def coding(system: str, code: str, display: str = "") -> Element:
    return {"system": system, "code": code, "display": display}


def concept(text: str, local: str = "", *, loinc: str = "") -> Element:
    """What is meant in words, with a confirmed LOINC code before one of our own."""
    found = [coding(LOINC, loinc)] if loinc else []
    found += [coding(LOCAL, local, text)] if local else []
    return {"coding": found, "text": text}


def hl7(system: str, code: str, text: str = "") -> Element:
    """A code of one of FHIR's own lists."""
    return {"coding": [coding(HL7 + system, code)], "text": text}


def absent(outcome: str, text: str) -> Element:
    """Why there is no number, in FHIR's list, in ours and in words."""
    made = hl7("data-absent-reason", ABSENT[outcome], text)
    if outcome != "unknown":
        made["coding"].append(coding(LOCAL, f"outcome.{outcome}"))
    return made


def notes(texts: Iterable[str]) -> list[Element]:
    return [{"text": text} for text in texts if text]


def narrative(lines: Iterable[str]) -> Element:
    """The words of a resource for somebody who reads it: escaped, paragraph by line."""
    said = "".join(f"<p>{escape(_clean(line))}</p>" for line in lines if line)
    div = f'<div xmlns="http://www.w3.org/1999/xhtml">{said}</div>'
    return {"status": "generated", "div": div}


def resource(
    kind: str, key: str, lines: Iterable[str], *, demo: bool, **fields: Any
) -> Element:
    """A whole resource; `fields` whose names Python keeps for itself end in `_`."""
    meta: Element = {"profile": fields.pop("profile", None)}
    if demo:
        meta["security"] = [dict(TEST_DATA)]
    made = {
        "resourceType": kind,
        "id": identity(key),
        "meta": meta,
        "text": narrative(lines),
        **{name.removesuffix("_"): value for name, value in fields.items()},
    }
    kept: Element = pruned(made)
    return kept


def pruned(value: Any) -> Any:
    """The same without what is empty; a 0 and a False are not."""
    if isinstance(value, Mapping):
        held = {name: pruned(part) for name, part in value.items()}
        return {name: part for name, part in held.items() if not _is_empty(part)}
    if isinstance(value, list | tuple):
        parts = [pruned(part) for part in value]
        return [part for part in parts if not _is_empty(part)]
    return _clean(value) if isinstance(value, str) else value


def _is_empty(value: Any) -> bool:
    return value is None or (isinstance(value, str | dict | list) and not value)


def _clean(text: str) -> str:
    return _CONTROL.sub("", text).strip()
