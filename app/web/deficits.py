"""Which deficits hold for a patient. Nothing names one here yet."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.storage.patients import Patient


@dataclass(frozen=True, slots=True)
class DeficitsView:
    """`keys`: what holds, the strongest first; `because`: the sentences that say so."""

    keys: tuple[str, ...] = ()
    because: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def deficits_of(
    _session: Session, _shelf: Catalogue, _patient: Patient, _today: date
) -> DeficitsView:
    return DeficitsView()
