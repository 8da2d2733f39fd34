"""One patient's record as a FHIR file: all that is loaded when somebody asks for one.

It brings two dozen modules that no other page needs, so its pages load it and no start.
"""

from datetime import datetime

from sqlmodel import Session

from app.exports.fhir_bundle import MEDIA_TYPE as MEDIA_TYPE
from app.exports.fhir_bundle import bundle
from app.exports.fhir_json import fhir_json
from app.exports.fhir_values import Record
from app.storage.patients import Patient
from app.web.deps import Site
from app.web.fhir_record import record_of, teller_of


def made(session: Session, site: Site, patient: Patient, now: datetime) -> str:
    return fhir_json(bundle(_record(session, site, patient, now)))


def left_out(
    session: Session, site: Site, patient: Patient, now: datetime
) -> tuple[str, ...]:
    """What stays behind, a sentence for each kind."""
    return _record(session, site, patient, now).left_out.sentences


def _record(session: Session, site: Site, patient: Patient, now: datetime) -> Record:
    teller = teller_of(site.settings, site.catalogue)
    return record_of(session, patient, teller, now)
