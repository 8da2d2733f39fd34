"""One patient's record as plain values, ready to be told in FHIR.

`key` names a thing for good: its id and every reference to it follow from it. Moments
are in the zone of the visit; numbers are as the screen shows them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Amount:
    """A number as it is shown, and its unit, one of `fhir_codes.UNITS`."""

    value: Decimal
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientValue:
    """`born` is a year or a day. A name and a number only where the site keeps them."""

    key: str
    label: str
    sex: str = ""
    born: str = ""
    name: str = ""
    number: str = ""


@dataclass(frozen=True, slots=True)
class PersonValue:
    """Somebody who works here."""

    key: str
    name: str
    role: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionValue:
    """`since` is a day, a month or a year; `level` that of an amputation."""

    key: str
    condition: str
    words: str
    since: str = ""
    side: str = ""
    side_words: str = ""
    level: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EpisodeValue:
    """One stretch of care, and the plan made for it."""

    key: str
    reason: str
    setting: str
    plan: str
    began: date
    ended: date | None = None
    why: str = ""
    plan_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PrecautionValue:
    """An order or a risk; `until` is the day it no longer held."""

    key: str
    episode: str
    tag: str
    label: str
    kind: str
    meaning: str
    since: date
    until: date | None = None
    note: str = ""
    set_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitValue:
    """A visit; `state` is closed, open, left open, or missed for the reason `why`."""

    key: str
    episode: str
    person: str
    kind: str
    kind_words: str
    setting: str
    setting_words: str
    state: str
    day: date
    start: datetime
    end: datetime | None = None
    minutes: int = 0
    why: str = ""
    why_words: str = ""
    follow_up: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What everything seen or done in a visit has."""

    key: str
    visit: str
    person: str
    at: datetime
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PartValue:
    """A trial, a set-up fact or a quantity beside a score: exactly one of its values.

    `choice` is a code of ours with its words; `outcome` and `why` say that there is no
    number.
    """

    code: str
    text: str
    loinc: str = ""
    amount: Amount | None = None
    choice: tuple[str, str] | None = None
    words: str = ""
    outcome: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreValue(Seen):
    """A derived score. `amount` is there when it was completed, else `why` says more.

    `method`: how it was done where that is not the published set-up, and the rule.
    `made_from` and `readings_of` are keys of other observations.
    """

    measure: str
    name: str
    standard: bool
    outcome: str
    why: str = ""
    amount: Amount | None = None
    method: str = ""
    parts: tuple[PartValue, ...] = ()
    made_from: tuple[str, ...] = ()
    readings_of: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class VitalValue(Seen):
    """One number of a set of vital signs, by our field's name."""

    what: str
    label: str
    amount: Amount
    position: str
    position_words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureValue(Seen):
    """A blood pressure; either half may be missing."""

    systolic: int | None
    diastolic: int | None
    position: str
    position_words: str
    arm: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskValue(Seen):
    """A task of the day: the help it took, or why it was not done."""

    task: str
    name: str
    level: tuple[str, str] | None = None
    outcome: str = ""
    why: str = ""
    parts: tuple[PartValue, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SetValue(Seen):
    """One bout of an activity; `dose` is what was done, in words."""

    activity: str
    name: str
    outcome: str
    why: str = ""
    dose: str = ""
    symptoms: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class GoalValue:
    """A goal. `state` is its lifecycle, `achieved` how far it came, in FHIR's words.

    Its target is an amount, a level of help or `times`. `begins_at` and `shown_by` are
    keys of observations.
    """

    key: str
    episode: str
    person: str
    number: int
    term: str
    sentence: str
    state: str
    achieved: str
    achieved_words: str
    set_on: date
    due: date
    what: tuple[str, str]
    measure: str = ""
    amount: Amount | None = None
    at_least: bool = False
    level: tuple[str, str] | None = None
    times: str = ""
    why: str = ""
    state_on: date | None = None
    begins_at: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TextValue:
    """What was signed of a visit; of a student's, who co-signed, when and how."""

    key: str
    visit: str
    author: str
    at: datetime
    title: str
    text: str
    signer: str = ""
    signed_at: datetime | None = None
    statement: str = ""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """How many of what did not go out."""

    unsigned: Mapping[str, int] = field(default_factory=dict)
    unfinished: int = 0
    voided: int = 0

    @property
    def sentences(self) -> tuple[str, ...]:
        """Each only where something was left out."""
        said = []
        if self.unsigned:
            counts = ", ".join(f"{what} {n}" for what, n in self.unsigned.items())
            said.append(f"Work of students that nobody co-signed: {counts}.")
        if self.unfinished:
            said.append(f"Tests without a result yet: {self.unfinished}.")
        if self.voided:
            said.append(f"Voided: {self.voided}.")
        return tuple(said)


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Everything that goes out of one patient."""

    patient: PatientValue
    people: tuple[PersonValue, ...]
    conditions: tuple[ConditionValue, ...]
    episodes: tuple[EpisodeValue, ...]
    precautions: tuple[PrecautionValue, ...]
    visits: tuple[VisitValue, ...]
    scores: tuple[ScoreValue, ...]
    vitals: tuple[VitalValue, ...]
    pressures: tuple[PressureValue, ...]
    tasks: tuple[TaskValue, ...]
    sets: tuple[SetValue, ...]
    goals: tuple[GoalValue, ...]
    texts: tuple[TextValue, ...]
    left_out: LeftOut
    demo: bool
    version: str
    edition: str
    made_at: datetime
