"""What is known of a patient for a screening pathway: answers and latest scores.

`profile_answers` is the one place that turns what is kept elsewhere into answers.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.pathway import Known, Taken
from app.clinical.person import Person
from app.clinical.quantities import words as with_unit
from app.clinical.reading import Result
from app.storage.episodes import episode_or_none
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.profile import Profile, profile_of
from app.storage.scores import scores_of
from app.storage.screening import answers_of
from app.web.dates import day_words
from app.web.judging import Ask, person_on
from app.web.rejudging import judged_all

#: Questions that another page asks: the end of its path and its words. They are never
#: asked on a pathway's page, so that one thing is kept in one place.
ELSEWHERE: Final[Mapping[str, tuple[str, str]]] = {
    "falls_12_months": ("edit", "Who this is"),
}


#: The profile's words for an injury from a fall, as the pathways ask for it.
INJURIES: Final = {"none": "no", "minor": "untreated", "needed_care": "treated"}


@dataclass(frozen=True, slots=True)
class Gathered:
    """What a pathway is walked with, and the day of each answer given on its page."""

    known: Known
    days: Mapping[str, date]


def profile_answers(
    details: PatientDetails, profile: Profile | None = None
) -> dict[str, str]:
    """Answers that stand with the patient already, by question.

    What was asked and is not known is no answer, and neither is what was not asked.
    """
    said = {
        "falls_12_months": details.facts.get("fall_history"),
        **(_came_of_falls(profile) if profile else {}),
    }
    return {key: value for key, value in said.items() if value}


def _came_of_falls(profile: Profile) -> dict[str, str | None]:
    """The profile's answers about falls in the words of the pathways."""
    down = (profile.fall_cannot_rise, profile.fall_long_lie)
    return {
        "fall_injury": INJURIES.get(profile.fall_injury or ""),
        "could_not_get_up": "yes" if "yes" in down else _sure("no", *down),
        "lost_consciousness": _sure("yes", profile.fall_fainted)
        or _sure("no", profile.fall_fainted),
        "frailty": _sure("yes", profile.frailty) or _sure("no", profile.frailty),
    }


def _sure(word: str, *answers: str | None) -> str | None:
    return word if all(answer == word for answer in answers) else None


def gather(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    measures: Iterable[str],
    today: date,
) -> Gathered:
    """All that is known on `today`; a test that is not here is missing."""
    details, episode = details_of(session, patient), episode_or_none(session, patient)
    if episode is not None:
        person = person_on(details, episode.setting, today)
    else:
        person = Person(
            ages=person_on(details, "community", today).ages, sex=details.sex,
            conditions=tuple(details.conditions), facts=dict(details.facts),
        )  # fmt: skip
    given = answers_of(session, patient)
    answers = {k: a.value for k, a in given.items() if k not in ELSEWHERE}
    profile = profile_of(session, episode) if episode else None
    answers |= profile_answers(details, profile)
    taken = _taken(session, shelf, patient, measures, today)
    days = {key: a.on_date for key, a in given.items() if key not in ELSEWHERE}
    return Gathered(Known(person, answers, taken), days)


def _taken(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    measures: Iterable[str],
    today: date,
) -> dict[str, Taken]:
    newest = {
        s.measure: s.round_id for s in scores_of(session, [patient.id]) if s.newest
    }
    wanted = {key: newest[key] for key in measures if key in newest}
    rounds = frozenset(wanted.values())
    found = {
        judged.measure.id: taken_of(judged.result, judged.on_date, today)
        for judged in judged_all(
            session, shelf, patient, lambda round: round.id in rounds,
            ask=Ask(shelf.base.rates, None),
        )
        if judged.result is not None
        and judged.result.score.outcome in ("completed", "unable")
    }  # fmt: skip
    return {key: found[key] for key in wanted if key in found}


def taken_of(result: Result, day: date, today: date) -> Taken:
    """A judged score as a rule of a pathway reads it."""
    score, measure = result.score, result.measure
    value = "unable" if score.shown is None else with_unit(score.shown, score.unit)
    says = f"{value}, {day_words(day, today)}"
    again = measure.due_after(day)
    if again is not None and today > again:
        says += f" (older than the retest interval of {measure.retest_days} days)"
    if not result.standard:
        says += " (not the published set-up, so no rule reads it)"
    return Taken(
        says=says,
        value=score.value,
        unit=score.unit,
        parts={k: (p.value, p.unit) for k, p in score.parts.items()},
        beyond=result.crossed_by_source,
        usable=result.standard,
    )
