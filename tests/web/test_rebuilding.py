"""A new edition of the catalogue reads every stored score again."""

from dataclasses import replace

from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import read_session
from app.storage.scores import Score
from app.web.deps import Site
from app.web.rebuilding import rebuild_scores
from tests.make import NOW
from tests.web.bedside import done

STANDS = "five_times_sit_to_stand"


def scores(site: Site) -> list[Score]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Score)))


def test_scores_of_an_older_edition_are_read_again(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    done(therapist, patient_id, STANDS, "16.2")
    before = scores(site)[0]
    told: list[tuple[int, int]] = []
    measure = site.catalogue.measures[STANDS]
    without = replace(measure, cutoffs=(), norms=())
    newer = replace(
        site.catalogue,
        measures={**site.catalogue.measures, STANDS: without},
        edition="newer",
    )

    count = rebuild_scores(
        site.engine, newer, now=NOW, progress=lambda *at: told.append(at)
    )

    after = scores(site)[0]
    assert (count, told) == (1, [(1, 1)])
    assert before.lead_source == "buatois2008"
    assert (after.edition, after.lead_source, after.value) == ("newer", "", "16.2")


def test_same_edition_is_left_alone(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    done(therapist, patient_id, STANDS, "16.2")

    count = rebuild_scores(
        site.engine, site.catalogue, now=NOW, progress=lambda *_: None
    )

    assert count == 0
