"""A visit's events as the facts of its notes: what the core makes their lines from.

Each fact has the words that the visit's own page and the results' pages use, and names
its events. Whoever calls has fetched the visit with the right to see it.
"""

from sqlmodel import Session

from app.clinical.note import Line
from app.clinical.visit_facts import Background, VisitFacts
from app.clinical.visit_note import evaluation, visit_note
from app.clinical.visiting import JUDGED
from app.storage.activity_sets import sets_in
from app.storage.episodes import Visit
from app.storage.observations import TaskObservation, codes_in, recorded
from app.web.deps import Site
from app.web.goal_book import GoalBook, open_book
from app.web.note_background import background_of
from app.web.note_done import (
    exits_said,
    minutes_said,
    missed_said,
    rooms_said,
    sets_said,
    stops_said,
    symptoms_said,
    tasks_said,
    teaching_said,
    vitals_said,
)
from app.web.note_measures import judged_in, measures_said, not_counted
from app.web.note_plan import due_said, goals_said, grades_said, planned_said
from app.web.note_scene import Scene, scene_of


def visit_facts(
    session: Session, site: Site, visit: Visit, *, background: bool | None = None
) -> VisitFacts:
    """All that a note of the visit may say, as it stood on its day.

    The background, which an evaluation needs, is gathered when it is asked for, or of
    its own accord for a visit whose kind is a judgement.
    """
    scene = scene_of(session, site, visit)
    missed = missed_said(scene)
    if missed is not None:
        return VisitFacts(
            visit_id=visit.id, kind=visit.kind, day=visit.local_date, missed=missed
        )
    wanted = visit.kind in JUDGED if background is None else background
    return _held(scene, background_of(scene) if wanted else Background())


def visit_lines(session: Session, site: Site, visit: Visit) -> tuple[Line, ...]:
    """The lines of a visit note."""
    return visit_note(visit_facts(session, site, visit, background=False))


def evaluation_lines(session: Session, site: Site, visit: Visit) -> tuple[Line, ...]:
    """The lines of an evaluation."""
    return evaluation(visit_facts(session, site, visit, background=True))


def _held(scene: Scene, background: Background) -> VisitFacts:
    """Everything of a visit that took place."""
    session, visit = scene.session, scene.visit
    rounds, sets = judged_in(scene), sets_in(session, visit)
    rows, codes = recorded(session, visit, TaskObservation), codes_in(session, visit)
    book = book_for(scene)
    tasks, tasks_not_done, tasks_void = tasks_said(rows, codes)
    activities, sets_not_done, sets_void = sets_said(scene, sets)
    exits, hand_off = exits_said(scene)
    standing = [row for row in rows if row.voided_at is None and not row.not_done]
    return VisitFacts(
        visit_id=visit.id,
        kind=visit.kind,
        day=visit.local_date,
        symptoms=tuple(symptoms_said(scene)),
        vitals=tuple(vitals_said(scene)),
        measures=measures_said(scene, rounds, book.goals, standing),
        not_counted=(*not_counted(rounds), *tasks_void, *sets_void),
        tasks=tuple(tasks),
        activities=tuple(activities),
        stops=tuple(stops_said(scene)),
        not_done=(*tasks_not_done, *sets_not_done),
        rooms=tuple(rooms_said(scene)),
        teaching=tuple(teaching_said(scene)),
        exits=tuple(exits),
        hand_off=tuple(hand_off),
        goals=goals_said(scene, book),
        next_grades=tuple(grades_said(scene, sets)),
        due=tuple(due_said(scene, rounds)),
        planned=tuple(planned_said(scene, sets)),
        minutes=tuple(minutes_said(scene)),
        background=background,
    )


def book_for(scene: Scene) -> GoalBook:
    """The goals of the visit's episode."""
    return open_book(
        scene.session, scene.shelf, scene.site.settings.clocks, scene.site.zone,
        scene.patient, scene.episode,
    )  # fmt: skip
