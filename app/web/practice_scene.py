"""One showing as it is begun: the figure with the stopwatch, or a page in words."""

from collections.abc import Mapping
from typing import Any

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from app.clinical.measure import Measure
from app.practice.case import Case
from app.practice.faults import kinds_of
from app.practice.motion import motion
from app.storage.practice import PracticeShowing, begin_as, sent_of
from app.web.deps import Form, page, site_of, wants_fragment
from app.web.practice_book import book, scene_of, timeline_of
from app.web.setup_form import setup_words


def begun(
    request: Request, session: Session, form: Form, showing: PracticeShowing
) -> Response:
    """What was drawn: the figure with the stopwatch, or a page in words.

    One of both, once and for all: who reads the words knows the key.
    """
    watch = form.text("way") == "watch" and wants_fragment(request)
    way = begin_as(session, showing, "watched" if watch else "words")
    if not watch or way == "words" or sent_of(session, showing):
        return sent_to(request, f"/practice/showings/{showing.id}")
    timeline = timeline_of(showing)
    return page(
        request,
        "practice/_do.html",
        **scene_for(request, showing.case_id, showing.trial),
        showing=showing,
        figure=motion(timeline),
        scene=scene_of(timeline),
        replay=False,
        typed=Form(),
        errors={},
    )


def sent_to(request: Request, address: str) -> Response:
    """A whole page next, also for htmx, which would put it into the present one."""
    if wants_fragment(request):
        return Response(headers={"hx-redirect": address})
    return RedirectResponse(address, 303)


def measure_of(request: Request, measure_id: str) -> Measure:
    """The test that is practised."""
    found: Mapping[str, Measure] = site_of(request).catalogue.measures
    return found[measure_id]


def scene_for(request: Request, case_id: str, trial: int) -> dict[str, Any]:
    """What may be known of a trial before it is seen: no fault, no key."""
    case: Case = book().case(case_id, trial)
    measure = measure_of(request, case.measure)
    return {
        "case": case,
        "trial": trial,
        "measure": measure,
        "setup": setup_words(measure, case.facts),
        "ceiling": measure.ceiling(case.facts) if measure.timed else None,
        "kinds": kinds_of(case.measure),
    }
