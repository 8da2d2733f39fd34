"""A test of the catalogue by its id, or the page that says there is none."""

from app.catalogue.load import Catalogue
from app.clinical.measure import Measure
from app.storage.errors import NotFound


def measure_or_not_found(shelf: Catalogue, measure_id: str) -> Measure:
    found = shelf.measures.get(measure_id)
    if found is None:
        raise NotFound("There is no such test.")
    return found
