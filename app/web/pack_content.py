"""What a day pack says of one person: whole lines, which the phone only shows.

As little as a visit needs: the label and no other identifier, what must not be done,
the set-ups to repeat, and what is planned.
"""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any, Final

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.allowing import permit
from app.clinical.session_plan import Item, standing
from app.storage.episodes import Episode, episode_or_none
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.plans import lines_of, plan_before, plan_on
from app.storage.precautions import precautions_on
from app.storage.safety import Stop, open_stops_of, stops_that_hold
from app.storage.scores import scores_of
from app.storage.trials import rounds_of
from app.web.dates import day_words
from app.web.due import clearance_of
from app.web.last_scores import latest_by_test
from app.web.planning import plan_of
from app.web.precaution_lines import PrecautionLine, precaution_lines
from app.web.setup_form import remembered
from app.web.stops import stop_key, stop_name, stop_words

NONE_RECORDED: Final = "None recorded: that is not the same as none. Ask."
KINDS: Final = {"order": "Order", "risk": "Risk"}


def person_of(
    session: Session, shelf: Catalogue, me: Person, patient: Patient, today: date
) -> dict[str, Any]:
    """One person as the phone keeps them: a label, and parts of lines."""
    episode = episode_or_none(session, patient)
    held = precautions_on(session, episode, today) if episode else []
    tags = [p.tag for p in held]
    orders = precaution_lines(held, today)
    stops = _stops(session, shelf, patient, today)
    tests = list(_tests(session, shelf, patient, tags, today))
    parts = [
        _part("First: orders and risks", list(map(_precaution, orders)), caution=True),
        _part("Stopped for safety", stops, caution=True),
        _part("Tests not now", [said for said, free in tests if not free],
              caution=True),
        _part("Set-ups to repeat", [said for said, free in tests if free]),
        *_activities(session, shelf, me, episode, tags, today),
    ]  # fmt: skip
    if not orders:
        parts[0]["lines"] = [NONE_RECORDED]
    mind = [*(["Stopped for safety"] if stops else []), *(o.what.label for o in orders)]
    return {
        "label": patient.label,
        "short": "; ".join(mind),
        "parts": [part for part in parts if part["lines"]],
    }


def _part(title: str, lines: Sequence[str], *, caution: bool = False) -> dict[str, Any]:
    return {"title": title, "lines": [*lines], "caution": caution}


def _precaution(line: PrecautionLine) -> str:
    kind = KINDS[line.what.kind]
    review = f"Review {line.review}." if line.review else ""
    note = f"Note: {line.note}." if line.note else ""
    said = (f"{kind}: {line.what.label}.", line.what.meaning, note, review)
    return " ".join(filter(None, said))


def _stops(
    session: Session, shelf: Catalogue, patient: Patient, today: date
) -> list[str]:
    """Those that nobody looked into, and today's that still hold; each once."""
    found: dict[str, Stop] = {
        stop_key(stop): stop
        for stop in (
            *open_stops_of(session, patient.id),
            *stops_that_hold(session, patient.id, today),
        )
    }
    return [
        f"{stop_name(shelf, stop)}: {stop_words(stop, today)}."
        for stop in found.values()
    ]


def _tests(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    tags: Sequence[str],
    today: date,
) -> Iterator[tuple[str, bool]]:
    """Each test with its last score and how it was set up; and whether it may be done
    now, else what forbids it."""
    rounds = rounds_of(session, patient.id)
    for line in latest_by_test(shelf, scores_of(session, [patient.id]), today):
        measure = shelf.measures[line.measure_id]
        before = remembered(measure, rounds)
        setup = f"Set-up: {before.words}." if before and before.words else ""
        clearance = clearance_of(measure, tags)
        against = "; ".join(p.label for p in clearance.blocked_by)
        mind = "; ".join(p.label for p in clearance.warned_by)
        said = (
            f"{line.name}: {line.value}, {line.day}.",
            setup,
            f"In force: {against}." if against else "",
            f"Mind: {mind}." if mind else "",
        )
        yield " ".join(filter(None, said)), clearance.allowed


def _activities(
    session: Session,
    shelf: Catalogue,
    me: Person,
    episode: Episode | None,
    tags: Sequence[str],
    today: date,
) -> Iterator[dict[str, Any]]:
    """One's own plan for today, else the latest before; what may no longer be done is
    said apart."""
    if episode is None:
        return
    row = plan_on(session, me, episode, today)
    lines = lines_of(session, row)
    if not lines:
        row = plan_before(session, me, episode, today)
        lines = lines_of(session, row)
    if row is None or not lines:
        return
    now = standing(plan_of(shelf, lines), tags)
    when = "today" if row.for_date == today else day_words(row.for_date, today)
    yield _part(f"Activities, plan of {when}", [_item(i, tags) for i in now.plan.items])
    yield _part(
        "Not now, whatever the plan says",
        [f"{left.item.activity.name}: {left.why}" for left in now.taken_out],
        caution=True,
    )


def _item(item: Item, tags: Sequence[str]) -> str:
    """`Step-ups, 3 sets at 4 in. Each set: 8-10. Mind: Falls.`"""
    activity = item.activity
    mind = "; ".join(p.label for p in permit(activity, tags).cautions)
    sets = f"{item.sets} set{'' if item.sets == 1 else 's'}"
    against = f"Planned against a risk: {item.override}." if item.override else ""
    said = (
        f"{activity.name}, {sets} at {activity.grade.words(item.grade)}.",
        f"Each set: {activity.dose.words}.",
        f"Mind: {mind}." if mind else "",
        against,
    )
    return " ".join(filter(None, said))
