"""What rows of a caseload's files are known by: their content, and ids made of it."""

import hashlib
import json
import uuid
from dataclasses import replace
from typing import Final

from app.exports.caseload_csv import PatientRow, ScoreRow, score_cells
from app.storage.patients import PatientDetails

#: Ids of what a file adds are made from its content below this name.
NAMES: Final = uuid.uuid5(uuid.NAMESPACE_OID, "tapeline caseload file")


def details_from(row: PatientRow) -> PatientDetails:
    return PatientDetails(
        label=row.label,
        birth_year=row.birth_year,
        birth_date=row.birth_date,
        sex=row.sex,
        conditions=row.conditions,
        sides=row.sides,
        facts=row.facts,
        sizes=row.sizes,
        full_name=row.full_name,
        record_number=row.record_number,
    )


def patient_uid(details: PatientDetails, *, demo: bool) -> str:
    return _uid("patient", demo, said_of(details))


def said_of(details: PatientDetails) -> list[object]:
    """What a file can say of somebody."""
    return [
        details.label, details.birth_year, str(details.birth_date), details.sex,
        sorted(
            (name, str(since), *details.sides.get(name, "").split())
            for name, since in details.conditions.items()
        ),
        sorted(details.facts.items()),
    ]  # fmt: skip


def round_uid(patient_uid: str, content: str, place: int) -> str:
    """Of the `place`th round of a patient that says the same."""
    return _uid("round", patient_uid, content, place)


def content_of(row: ScoreRow) -> str:
    """What the row says, whoever it is of, in few letters."""
    cells = score_cells(replace(row, label="", invented=False))
    told = json.dumps(sorted(cells.items()))
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def _uid(*parts: object) -> str:
    return uuid.uuid5(NAMES, json.dumps(parts)).hex
