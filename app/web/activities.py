"""The shelf of treatment activities: the list, one card, and what the doses rest on.

Nobody's data: the same for everyone who is signed in. Words that are typed travel in
the body; only closed words stand in an address.
"""

from collections.abc import Sequence
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.catalogue.load import Catalogue
from app.clinical.activity import (
    DIMENSIONS,
    DOMAINS,
    LEAST,
    POSITIONS,
    UNSUPERVISED,
    Activity,
)
from app.clinical.activity_search import find
from app.clinical.assistance import LEVELS
from app.clinical.evidence import TOPICS
from app.storage.errors import NotFound
from app.web import activity_words
from app.web.deps import Form, FormDep, SignedIn, SiteDep, page

router = APIRouter()
#: Longer nobody types to find an activity.
LONGEST: Final = 80


@router.get("/activities")
def index(
    request: Request, _me: SignedIn, site: SiteDep, deficit: str = "",
    position: str = "",
) -> HTMLResponse:  # fmt: skip
    asked = Form((("deficit", deficit), ("position", position)))
    return _listed(request, site.catalogue, asked)


@router.post("/activities")
def search(
    request: Request, form: FormDep, _me: SignedIn, site: SiteDep
) -> HTMLResponse:
    """Changes nothing, though it is a POST: a GET would write the words in a log."""
    return _listed(request, site.catalogue, form)


def _listed(request: Request, shelf: Catalogue, asked: Form) -> HTMLResponse:
    """An unknown closed word asks for nothing."""
    deficits = activity_words.deficit_words(shelf)
    words, position = asked.text("words")[:LONGEST], asked.text("position")
    deficit = asked.text("deficit") if asked.text("deficit") in deficits else ""
    position = position if position in POSITIONS else ""
    found: Sequence[Activity] = list(shelf.activities.values())
    if words:
        found = find(found, words, deficits)
    found = [a for a in found if not deficit or deficit in a.answers]
    found = [a for a in found if not position or a.position == position]
    return page(
        request,
        "activities/index.html",
        sections=_sections(found),
        count=len(found),
        narrowed=bool(words or deficit or position),
        words=words,
        deficit=deficit,
        position=position,
        deficits=sorted(deficits.items(), key=lambda pair: pair[1]),
        positions=POSITIONS,
    )


def _sections(found: Sequence[Activity]) -> list[tuple[str, list[Activity]]]:
    """By domain, in the order they came."""
    by_domain = [
        (words.capitalize(), [a for a in found if a.domain == domain])
        for domain, words in DOMAINS.items()
    ]
    return [section for section in by_domain if section[1]]


@router.get("/activities/evidence")
def evidence(request: Request, _me: SignedIn, site: SiteDep) -> HTMLResponse:
    known = site.catalogue.evidence
    by_topic = [
        (words, [fact for fact in known.facts if fact.topic == topic])
        for topic, words in TOPICS.items()
    ]
    return page(
        request,
        "activities/evidence.html",
        topics=by_topic,
        claims={fact.key: fact.claim for fact in known.facts},
        known=known,
        how=activity_words.how_words,
        edition=site.catalogue.edition,
    )


@router.get("/activities/{aid}")
def show(request: Request, _me: SignedIn, site: SiteDep, aid: str) -> HTMLResponse:
    """The card for reference, without a patient."""
    shelf = site.catalogue
    activity = shelf.activities.get(aid)
    if activity is None:
        raise NotFound
    named = activity_words.deficit_words(shelf)
    return page(
        request,
        "activities/show.html",
        activity=activity,
        domain=DOMAINS[activity.domain],
        position=POSITIONS[activity.position],
        least=LEAST[activity.least],
        help=LEVELS[activity.help].words,
        dimension=DIMENSIONS[activity.grade.dimension],
        at_home=UNSUPERVISED[activity.unsupervised],
        answers=[(key, named[key]) for key in activity.answers],
        ladder=activity_words.ladder(activity.grade),
        against=[
            (head, tags) for head, tags in activity_words.against(activity) if tags
        ],
        codes=[shelf.icf[code] for code in activity.icf],
        facts=shelf.evidence.of(activity.dose.sources),
        sources=shelf.evidence.sources,
        basis=activity_words.basis_words(activity, shelf.evidence.sources),
        words=activity_words,
    )
