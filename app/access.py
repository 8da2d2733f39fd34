"""Who may do what: one table of role and deed, asked where rows are fetched.

Demo people and demo patients are a world of their own: nobody invented reaches a real
patient. Whoever may not see a patient is told that there is none.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

THERAPIST, ASSISTANT, STUDENT, SUPERVISOR = (
    "therapist",
    "assistant",
    "student",
    "supervisor",
)
ROLES: Final = (THERAPIST, ASSISTANT, STUDENT, SUPERVISOR)


@dataclass(frozen=True, slots=True)
class Actor:
    """Who wants to do something."""

    role: str
    is_demo: bool
    id: int


@dataclass(frozen=True, slots=True)
class Subject:
    """Whom it would be done to, and whether the actor is assigned to them now."""

    is_demo: bool
    assigned: bool = False


Rule = Callable[[Actor, Subject | None], bool]


def nobody(_actor: Actor, _subject: Subject | None) -> bool:
    return False


def in_own_world(actor: Actor, subject: Subject | None) -> bool:
    """Real with real, demo with demo; without a subject, their own world is meant."""
    return subject is None or subject.is_demo == actor.is_demo


def whole_caseload(actor: Actor, subject: Subject | None) -> bool:
    return subject is not None and in_own_world(actor, subject)


def when_assigned(actor: Actor, subject: Subject | None) -> bool:
    """Real people need an assignment; a demo is there to be tried out."""
    if subject is None or not in_own_world(actor, subject):
        return False
    return subject.assigned or subject.is_demo


def practising(actor: Actor, subject: Subject | None) -> bool:
    """Demo patients always; real ones as anybody else."""
    if subject is not None and subject.is_demo:
        return True
    return when_assigned(actor, subject)


def demo_only(_actor: Actor, subject: Subject | None) -> bool:
    return subject is not None and subject.is_demo


def _by_role(
    *, therapist: Rule, assistant: Rule, student: Rule, supervisor: Rule
) -> Mapping[str, Rule]:
    return MappingProxyType(
        {
            THERAPIST: therapist,
            ASSISTANT: assistant,
            STUDENT: student,
            SUPERVISOR: supervisor,
        }
    )


_BEDSIDE: Final = _by_role(
    therapist=when_assigned,
    assistant=when_assigned,
    student=practising,
    supervisor=whole_caseload,
)
_RUNNING_THE_SITE: Final = _by_role(
    therapist=nobody, assistant=nobody, student=nobody, supervisor=in_own_world
)
#: The evaluating therapist's judgement, which an assistant may not make.
_JUDGEMENT: Final = _by_role(
    therapist=when_assigned,
    assistant=nobody,
    student=nobody,
    supervisor=whole_caseload,
)
_CARE: Final = _by_role(
    therapist=when_assigned,
    assistant=when_assigned,
    student=demo_only,
    supervisor=whole_caseload,
)
_OVERSIGHT: Final = _by_role(
    therapist=nobody, assistant=nobody, student=nobody, supervisor=whole_caseload
)
TABLE: Final[Mapping[str, Mapping[str, Rule]]] = MappingProxyType(
    {
        "see_patient": _BEDSIDE,
        "record_trial": _BEDSIDE,
        "void_trial": _BEDSIDE,
        "record_visit": _BEDSIDE,
        "edit_patient": _CARE,
        "set_precaution": _CARE,
        "sign_treatment": _by_role(
            therapist=when_assigned,
            assistant=when_assigned,
            student=nobody,
            supervisor=whole_caseload,
        ),
        "submit_for_co_signature": _by_role(
            therapist=nobody, assistant=nobody, student=practising, supervisor=nobody
        ),
        "end_precaution": _JUDGEMENT,
        "manage_episode": _JUDGEMENT,
        "transfer_patient": _JUDGEMENT,
        "look_into_stop": _JUDGEMENT,
        "go_against_risk": _JUDGEMENT,
        "sign_evaluation": _JUDGEMENT,
        "sign_interpretation": _JUDGEMENT,
        "sign_goals": _JUDGEMENT,
        "sign_discharge": _JUDGEMENT,
        "co_sign": _OVERSIGHT,
        "review": _OVERSIGHT,
        "merge_patient": _OVERSIGHT,
        "archive_patient": _OVERSIGHT,
        "purge_patient": _OVERSIGHT,
        "export_patient": _JUDGEMENT,
        # On one's own phone, encrypted, for a day: a student has nobody to answer for.
        "take_along": _by_role(
            therapist=when_assigned,
            assistant=when_assigned,
            student=nobody,
            supervisor=whole_caseload,
        ),
        "add_patient": _by_role(
            therapist=in_own_world,
            assistant=nobody,
            student=nobody,
            supervisor=in_own_world,
        ),
        "cover_colleague": _by_role(
            therapist=in_own_world,
            assistant=in_own_world,
            student=nobody,
            supervisor=nobody,
        ),
        "manage_people": _RUNNING_THE_SITE,
        "manage_services": _RUNNING_THE_SITE,
        "see_audit": _RUNNING_THE_SITE,
        "see_desk": _RUNNING_THE_SITE,
        "see_shared_practice": _RUNNING_THE_SITE,
        "import_caseload": _RUNNING_THE_SITE,
        "export_caseload": _RUNNING_THE_SITE,
        # Timing and scoring, from what somebody shared of their practice.
        "sign_competence": _RUNNING_THE_SITE,
    }
)


def may(person: Actor, deed: str, subject: Subject | None) -> bool:
    """Whether the table lets `person` do `deed`; an unknown deed or role is a fault.

    >>> may(Actor("therapist", False, 1), "see_patient", Subject(False, assigned=True))
    True
    """
    return TABLE[deed][person.role](person, subject)
