"""Where a test's numbers come from: every source, each row, what is unconfirmed."""

from decimal import Decimal

import pytest
from starlette.testclient import TestClient

from app.catalogue.load import all_rows, catalogue
from app.clinical.quantities import words
from app.web.row_words import row_words
from app.web.sources import source_lines
from tests.conftest import found
from tests.web.bedside import done

MEASURES = sorted(catalogue().measures)


@pytest.mark.parametrize("measure_id", MEASURES)
def test_every_row_stands_under_its_source_once(measure_id: str) -> None:
    measure = catalogue().measures[measure_id]

    lines = source_lines(measure)

    assert len(lines) == len(measure.sources)
    assert sum(len(line.rows) for line in lines) == len(all_rows(measure))
    recalled = sum(1 for row in all_rows(measure) if row.how == "memory")
    assert sum(line.unconfirmed for line in lines) == recalled


@pytest.mark.parametrize("measure_id", MEASURES)
def test_every_row_says_its_number(measure_id: str) -> None:
    for row in all_rows(catalogue().measures[measure_id]):
        said = row_words(row)

        assert said
        for name in ("mean", "value", "mdc95", "sem", "icc"):
            number = getattr(row, name, None)
            unit = getattr(row, "unit", "")
            assert number is None or _stands(number, unit, said), (row.key, name)


def _stands(number: Decimal, unit: str, said: str) -> bool:
    return str(number) in said or words(number, unit) in said


def test_reading_leads_to_all_of_its_source(
    therapist: TestClient, patient_id: int
) -> None:
    result = done(therapist, patient_id, "five_times_sit_to_stand", "16.2")
    link = found(result, "details.source a").attributes["href"] or ""

    page = therapist.get(link).text

    assert "never lead" in page
    assert "Limits." in page
    assert "unconfirmed" in page


def test_sources_of_no_test_are_not_found(therapist: TestClient) -> None:
    assert therapist.get("/measures/no_such_test/sources").status_code == 404
