"""All tests of one visit on their tapes, by domain, and what they say together."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlmodel import Session

from app.clinical.person import Person
from app.clinical.picture import DOMAINS, Done, names_of, picture_of, repeated
from app.storage import visits
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient, details_of
from app.storage.trials import Round
from app.web.dates import day_words
from app.web.deps import ReadSession, RowId, SignedIn, SiteDep, page
from app.web.judging import Judged, person_on
from app.web.rejudging import judged_all
from app.web.result_view import ResultView, result_view

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Card:
    """One test of the visit; `view` is None while it is not finished."""

    round_id: int
    measure_id: str
    domain: str
    name: str
    view: ResultView | None
    missing: str
    repeated: bool


@router.get("/visits/{visit_id}/picture")
def show(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, visit_id: RowId
) -> HTMLResponse:
    visit, patient = visits.visit_for(session, me, visit_id)

    def of_visit(round: Round) -> bool:
        return round.visit_id == visit.id

    rounds = [
        judged
        for judged in judged_all(session, site.catalogue, patient, of_visit)
        if judged.result or judged.completed or judged.measure.components
    ]
    done = _done(rounds)
    cards = sorted(
        (_card(judged, one, done) for judged, one in zip(rounds, done, strict=True)),
        key=_place,
    )
    return page(
        request,
        "visits/picture.html",
        visit=visit,
        patient=patient,
        day=day_words(visit.local_date),
        groups=[(d, list(kept)) for d, kept in groupby(cards, lambda c: c.domain)],
        picture=picture_of(done, _person(session, patient, visit)),
    )


def _person(session: Session, patient: Patient, visit: Visit) -> Person:
    setting = session.get_one(Episode, visit.episode_id).setting
    return person_on(details_of(session, patient), setting, visit.local_date)


def _done(rounds: Sequence[Judged]) -> list[Done]:
    """In the order they were done; a score's own facts say more than its set-up."""
    told = [
        (j.measure, dict(j.result.score.facts if j.result else j.round.facts))
        for j in rounds
    ]
    return [
        Done(name, judged.measure, judged.result, judged.missing)
        for name, judged in zip(names_of(told), rounds, strict=True)
    ]


def _card(judged: Judged, one: Done, done: Sequence[Done]) -> Card:
    return Card(
        round_id=judged.round.id,
        measure_id=judged.measure.id,
        domain=judged.measure.domain,
        name=one.name,
        view=result_view(judged) if judged.result else None,
        missing=judged.missing,
        repeated=repeated(one, done),
    )


def _place(card: Card) -> tuple[int, str]:
    """Domains in their order; within one, as they were done."""
    place = DOMAINS.index(card.domain) if card.domain in DOMAINS else len(DOMAINS)
    return place, card.domain
