"""`tapeline export --fhir`: one FHIR R4 bundle a patient, written into a folder.

A file is named by the patient's random id, never by the label.
"""

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sqlmodel import Session, col, select

from app.catalogue.load import catalogue
from app.commands.demo_folder import is_demo_folder
from app.commands.opening import opened_site, settings_from
from app.commands.progress import Progress
from app.commands.refused import Refused
from app.commands.saving import save_lines
from app.exports.fhir_bundle import bundle
from app.exports.fhir_elements import identity
from app.exports.fhir_json import fhir_json
from app.exports.fhir_values import LeftOut
from app.storage import audit
from app.storage.database import read_session, write_session
from app.storage.patients import Patient
from app.web.fhir_record import Teller, record_of, teller_of

OPTION: Final = "fhir"


def add(parser: argparse.ArgumentParser, kinds: Any) -> None:
    kinds.add_argument(
        "--fhir", metavar="FOLDER",
        help="one FHIR R4 bundle (JSON) for each open patient",
    )  # fmt: skip
    parser.add_argument(
        "--demo", action="store_true",
        help="with --fhir: the invented patients of a real site, not the real ones",
    )  # fmt: skip


def refuse_alone(given: argparse.Namespace) -> None:
    if given.demo and given.fhir is None:
        raise Refused("--demo goes with --fhir")


def run(given: argparse.Namespace) -> int:
    """Write everybody of one world; each export stands in the audit trail."""
    settings, out = settings_from(given), Path(given.fhir)
    demo = given.demo or is_demo_folder(settings.data_dir)
    now = datetime.now(UTC)
    with opened_site(settings) as engine:
        out.mkdir(mode=0o700, parents=True, exist_ok=True)
        with write_session(engine) as session:
            # Nobody is signed in here: whoever may read the folder may do this.
            for patient in _patients(session, demo=demo):
                audit.deed(session, "exported_patient", patient, by=None, now=now)
        teller = teller_of(settings, catalogue())
        with read_session(engine) as session:
            left = _write(session, teller, out, now, demo=demo)
    print(f"Wrote {len(left)} patients to {out}, one file each.")
    for line in _told(left):
        print(line)
    return 0


def _write(
    session: Session, teller: Teller, out: Path, now: datetime, *, demo: bool
) -> list[LeftOut]:
    progress, left = Progress("patients"), []
    everybody = _patients(session, demo=demo)
    for done, patient in enumerate(everybody, 1):
        record = record_of(session, patient, teller, now)
        name = f"{identity(record.patient.key)}.fhir.json"
        save_lines(out / name, [fhir_json(bundle(record))])
        left.append(record.left_out)
        progress(done, len(everybody))
    progress.over()
    return left


def _patients(session: Session, *, demo: bool) -> Sequence[Patient]:
    wanted = select(Patient).where(
        col(Patient.is_demo).is_(demo), col(Patient.closed_at).is_(None)
    )
    return session.exec(wanted.order_by(col(Patient.id))).all()


def _told(left: Sequence[LeftOut]) -> list[str]:
    """What stayed behind of all of them together."""
    sums: dict[str, int] = {}
    for one in left:
        for what, n in one.unsigned.items():
            sums[what] = sums.get(what, 0) + n
    unfinished = sum(one.unfinished for one in left)
    voided = sum(one.voided for one in left)
    return list(LeftOut(sums, unfinished, voided).sentences)
