"""What of a patient's record may go out: a student's work only once it is co-signed.

What was recorded after the text that was co-signed is not part of it, so it waits for
the next one. Counted here, so that whoever exports is told how much stays behind.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session, col, select

from app.access import STUDENT
from app.storage.episodes import Visit
from app.storage.people import Person
from app.storage.review import OF_CLOSED, ReviewDecision, VisitText
from app.storage.trials import RoundTrials, Trial

#: A text of a visit and what was decided on it.
Told = tuple[VisitText, ReviewDecision | None]


@dataclass(frozen=True, slots=True)
class Answered:
    """Until when somebody answers for a student's work in a visit; None: nobody."""

    author: int
    by_student: bool
    co_signed: datetime | None = None
    signed: datetime | None = None


@dataclass(slots=True)
class Release:
    """`left_out` counts what stays behind, by what it is; `texts` are by visit."""

    students: frozenset[int]
    visits: dict[int, Answered]
    texts: Mapping[int, Sequence[Told]] = field(default_factory=dict)
    left_out: Counter[str] = field(default_factory=Counter)

    def may_go(self, visit_id: int, by: int, at: datetime) -> bool:
        """Whether what `by` recorded `at` may go out.

        A student's own visit needs a co-signature. In a colleague's visit their entry
        stands in what that colleague signed.
        """
        visit = self.visits[visit_id]
        own = by == visit.author
        if by not in self.students and not (own and visit.by_student):
            return True
        until = visit.co_signed
        if not own and visit.signed is not None:
            until = max(until or visit.signed, visit.signed)
        return until is not None and at <= until

    def visit_goes(self, visit: Visit) -> bool:
        return self.may_go(visit.id, visit.person_id, visit.started_at)

    def round_goes(self, kept: RoundTrials) -> bool:
        """All that its score rests on: each trial, and each that was taken back."""
        visit_id = kept.round.visit_id
        if not kept.trials:
            return self.may_go(visit_id, kept.round.person_id, kept.round.created_at)
        return all(self._trial_goes(visit_id, trial) for trial in kept.trials)

    def _trial_goes(self, visit_id: int, trial: Trial) -> bool:
        if trial.voided_at is None:
            return self.may_go(visit_id, trial.recorded_by, trial.recorded_at)
        return self.may_go(visit_id, trial.voided_by or 0, trial.voided_at)


def release_of(session: Session, visits: Sequence[Visit]) -> Release:
    """For these visits of one patient."""
    students = session.exec(select(Person.id).where(Person.role == STUDENT))
    release = Release(frozenset(students), {}, _texts(session, visits))
    for visit in visits:
        texts = release.texts.get(visit.id, ())
        release.visits[visit.id] = _answered(visit, texts, release)
    return release


def _texts(session: Session, visits: Sequence[Visit]) -> dict[int, list[Told]]:
    wanted = (
        select(VisitText, ReviewDecision)
        .outerjoin(
            ReviewDecision, col(ReviewDecision.text_id) == col(VisitText.id)
        )
        .where(col(VisitText.visit_id).in_([visit.id for visit in visits]))
        .order_by(col(VisitText.id))
    )  # fmt: skip
    found: dict[int, list[Told]] = {}
    for text, made in session.exec(wanted):
        found.setdefault(text.visit_id, []).append((text, made))
    return found


def _answered(visit: Visit, texts: Sequence[Told], release: Release) -> Answered:
    """A report of a longer time answers for none of the visit's own entries."""
    own = [(text, made) for text, made in texts if (text.note or "visit") in OF_CLOSED]
    handed_in = any(text.kind == "handed_in" for text, _ in own)
    co_signed = [text.written_at for text, made in own if is_co_signed(made)]
    signed = [text.written_at for text, made in own if is_signed(text, made)]
    return Answered(
        author=visit.person_id,
        # Who handed in was a student then, whatever their role is today.
        by_student=handed_in or visit.person_id in release.students,
        co_signed=max(co_signed, default=None),
        signed=max(signed, default=None),
    )


def is_co_signed(made: ReviewDecision | None) -> bool:
    return made is not None and made.decision == "co_signed"


def is_signed(text: VisitText, made: ReviewDecision | None) -> bool:
    """By whoever may; a text that was returned for change is answered for by nobody."""
    returned = made is not None and made.decision == "returned"
    return text.kind == "signed" and not returned
