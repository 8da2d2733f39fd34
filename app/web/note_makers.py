"""Which maker makes which kind of note: the one place where they are named."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Final

from sqlmodel import Session

from app.clinical.note import Line, Ref
from app.storage.episodes import Visit
from app.web.deps import Site
from app.web.visit_events import events_of
from app.web.visit_text import event_line

Maker = Callable[[Session, Site, Visit], tuple[Line, ...]]


def _plain(session: Session, site: Site, visit: Visit) -> tuple[Line, ...]:
    """What was recorded, event by event, and what only the therapist can say."""
    return (*_events(session, site, visit), *_FIELDS)


def _fields(_session: Session, _site: Site, _visit: Visit) -> tuple[Line, ...]:
    return _FIELDS


def _events(session: Session, site: Site, visit: Visit) -> Iterator[Line]:
    seen: Counter[tuple[str, int]] = Counter()
    for event in events_of(session, site.catalogue, visit):
        if not event.says or event.voided:
            continue
        seen[event.kind, event.id] += 1
        key = f"{event.kind}-{event.id}-{seen[event.kind, event.id]}"
        section = "subjective" if event.kind == "symptoms" else "objective"
        kind = "round" if event.kind == "trial" else event.kind
        refs = (Ref(kind, event.id),) if event.id else ()
        says = event_line(session, event, site.zone)
        yield Line(key, section, says, refs)  # type: ignore[arg-type]


_FIELDS: Final = (
    Line("says", "subjective", asks="What did they say that bears on today?"),
    Line(
        "skill", "assessment", asks="What did you judge, and why did it take you?",
        needed=True, verbs=True,
    ),
    Line("next", "plan", asks="What changes next time?", needed=True),
)  # fmt: skip

MAKERS: Final[Mapping[str, Maker]] = MappingProxyType(
    {"visit": _plain, "evaluation": _plain, "progress": _fields, "discharge": _fields}
)
