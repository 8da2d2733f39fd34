"""From rows to a judged round: the bridge between what is stored and the pure core.

Pages, lists and the demo all come through here, so that a score on screen, in a list
and on the command line is read by one function.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from functools import partial

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical import scoring
from app.clinical.base_rate import BaseRate
from app.clinical.composing import best_part
from app.clinical.composite import Stage
from app.clinical.measure import Measure
from app.clinical.person import Person, ages_on, time_since
from app.clinical.quantities import BODY_UNITS, convert
from app.clinical.reading import Result, read
from app.clinical.scoring import NotScorable, Score
from app.clinical.setup import HowDone, what_differs
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.scores import DerivedScore, drop_score, keep_score
from app.storage.trials import Round, RoundTrials, Trial, rounds_of

#: The scores of a day that a test is made with, by test.
PairsByDay = Callable[[date], Mapping[str, Score]]


@dataclass(frozen=True, slots=True)
class Ask:
    """What a chance may start from: the published shares, or somebody's own figure."""

    base_rates: Sequence[BaseRate]
    pretest: Decimal | None


@dataclass(frozen=True, slots=True)
class Earlier:
    """A score of an earlier day. `differs` empty: comparable with the judged one."""

    round: Round
    on_date: date
    score: Score
    differs: tuple[str, ...]

    @property
    def comparable(self) -> bool:
        return not self.differs


@dataclass(frozen=True, slots=True)
class Judged:
    """One round and what is to be said of it; `missing` says what it still lacks."""

    measure: Measure
    round: Round
    on_date: date
    trials: tuple[Trial, ...]
    result: Result | None
    missing: str
    earlier: tuple[Earlier, ...]

    @property
    def completed(self) -> int:
        """Completed trials that count so far."""
        return sum(1 for t in self.trials if counts(t))

    @property
    def needed(self) -> int:
        return self.measure.variant(self.round.variant or None).of

    @property
    def stage_number(self) -> int:
        """The stage that comes next, from 1: those held or missed lie behind."""
        return 1 + sum(1 for t in self.trials if takes_stage(t))

    @property
    def stage(self) -> Stage | None:
        stages = self.measure.stages[: self.needed]
        return (
            stages[self.stage_number - 1] if self.stage_number <= len(stages) else None
        )

    @property
    def stage_show(self) -> str:
        """How the next stage is taken up."""
        return self.measure.guide.show[self.stage_number - 1] if self.stage else ""

    @property
    def stages_ahead(self) -> str:
        """The next stage and those after it, for a phone that cannot ask: JSON."""
        ahead = self.measure.stages[: self.needed][self.stage_number - 1 :]
        shows = self.measure.guide.show[self.stage_number - 1 :]
        told = [
            {"label": s.label, "show": show, "hold": int(s.hold)}
            for s, show in zip(ahead, shows, strict=False)
        ]
        return json.dumps(told)

    @property
    def ceiling(self) -> int | None:
        """Seconds after which the next hold ends by itself."""
        if self.stage is not None:
            return int(self.stage.hold)
        return self.measure.ceiling(self.round.facts)


def counts(trial: Trial) -> bool:
    done = trial.outcome == "completed"
    return done and not trial.practice and trial.voided_at is None


def takes_stage(trial: Trial) -> bool:
    """Held or missed: the next trial is of the next stage."""
    done = trial.outcome in ("completed", "unable")
    return done and not trial.practice and trial.voided_at is None


def counted(trials: Sequence[Trial], needed: int) -> list[Trial]:
    """All but the completed trials past the rule's number: kept, shown, not scored.

    A second tab or a late resend may bring one more than the rule takes.
    """
    completed = [t for t in trials if counts(t)]
    extra = {t.id for t in completed[needed:]}
    return [t for t in trials if t.id not in extra]


def clinical_trial(trial: Trial) -> scoring.Trial:
    """A stored trial as the core knows it: the value as entered, with its unit."""
    value, unit = None, ""
    if trial.raw_ms is not None:
        value, unit = Decimal(trial.raw_ms) / 1000, "s"
    elif trial.raw_value is not None:
        value, unit = Decimal(trial.raw_value), trial.raw_unit or ""
    elif trial.count is not None:
        value, unit = Decimal(trial.count), "count"
    return scoring.Trial(
        outcome=trial.outcome,  # type: ignore[arg-type]  # a CHECK holds the list
        value=value,
        unit=unit,
        reason=trial.reason,
        voided=trial.voided_at is not None,
        practice=trial.practice,
        inputs=trial.inputs,
        splits=tuple(Decimal(ms) / 1000 for ms in trial.splits_ms),
    )


def person_on(details: PatientDetails, setting: str, day: date) -> Person:
    """The patient as readings need them: as they were on `day`.

    Their age then, the conditions that had begun, and for how long.
    """
    begun = {
        name: onset
        for name, onset in details.conditions.items()
        if onset is None or onset.first <= day
    }
    return Person(
        ages=ages_on(day, born=details.birth_date, year=details.birth_year),
        sex=details.sex,
        conditions=tuple(begun),
        setting=setting,
        facts=dict(details.facts),
        since={name: time_since(onset, day) for name, onset in begun.items() if onset},
    )


def score_of(
    measure: Measure,
    kept: RoundTrials,
    paired: Mapping[str, Score] | None = None,
    body: Mapping[str, Fraction] | None = None,
) -> Score:
    """The score of stored trials; raise NotScorable when they make none yet."""
    rule = measure.variant(kept.round.variant or None)
    # Readings of a cuff may be more than the rule asks for: each one tells something.
    taken = kept.trials if rule.take == "fall" else counted(kept.trials, rule.of)
    return scoring.score(
        measure,
        [clinical_trial(t) for t in taken],
        variant=kept.round.variant or None,
        facts=kept.round.facts,
        paired=paired,
        body=body,
    )


def judge(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    round: Round,
    pretest: Decimal | None = None,
) -> Judged:
    """Score and read one round of a patient, beside the earlier ones of that test.

    `pretest` is the asking person's own chance before the test, for this page only.
    """
    measure = shelf.measures[round.measure]
    history = rounds_of(session, patient.id, round.measure)
    mine = next(kept for kept in history if kept.round.id == round.id)
    others = {o: rounds_of(session, patient.id, o) for o in measure.made_from}
    pairs = pairs_by_day(shelf, measure, others)
    details, setting = details_of(session, patient), _setting(session, round)
    person = person_on(details, setting, mine.on_date)
    ask = Ask(shelf.base.rates, pretest)
    return judged(measure, mine, history, person, pairs, body_of(details), ask)


def judged(
    measure: Measure,
    mine: RoundTrials,
    history: Sequence[RoundTrials],
    person: Person,
    pairs: PairsByDay,
    body: Mapping[str, Fraction],
    ask: Ask | None = None,
) -> Judged:
    """The pure part of `judge`: everything already fetched. Lists ask no chance."""
    try:
        score = score_of(measure, mine, pairs(mine.on_date), body)
    except NotScorable as lack:
        return Judged(
            measure, mine.round, mine.on_date, mine.trials, None, str(lack), ()
        )
    made = partial(made_then, measure, pairs, body)
    earlier = tuple(_earlier(measure, mine, score, history, made))
    before = compared_with(earlier)
    result = read(
        measure,
        score,
        person,
        before=before.score if before else None,
        other_rater=bool(before and before.round.person_id != mine.round.person_id),
        pretest=ask.pretest if ask else None,
        base_rates=ask.base_rates if ask else (),
    )
    return Judged(measure, mine.round, mine.on_date, mine.trials, result, "", earlier)


def _setting(session: Session, round: Round) -> str:
    visit = session.get_one(Visit, round.visit_id)
    return session.get_one(Episode, visit.episode_id).setting


def pairs_by_day(
    shelf: Catalogue, measure: Measure, rounds: Mapping[str, Sequence[RoundTrials]]
) -> PairsByDay:
    """Of each other test the score of a day that serves, the latest one if any does."""

    def on(day: date) -> dict[str, Score]:
        found = {}
        for other, kept in rounds.items():
            that_day = [_score_or_none(shelf, k) for k in kept if k.on_date == day]
            best = best_part(measure, other, [s for s in that_day if s is not None])
            if best is not None:
                found[other] = best
        return found

    return on


def made_then(
    measure: Measure,
    pairs: PairsByDay,
    body: Mapping[str, Fraction],
    kept: RoundTrials,
) -> Score:
    """The score of an earlier round; a composite asks for the tests of its day."""
    needs = pairs(kept.on_date) if measure.components else None
    return score_of(measure, kept, needs, body)


def _score_or_none(shelf: Catalogue, kept: RoundTrials) -> Score | None:
    try:
        return score_of(shelf.measures[kept.round.measure], kept)
    except NotScorable:
        return None


def body_of(details: PatientDetails) -> dict[str, Fraction]:
    """Height in m and weight in kg, as far as they are known."""
    return {
        key: convert(Fraction(value), unit, BODY_UNITS[key])
        for key, (value, unit) in details.sizes.items()
        if key in BODY_UNITS
    }


def _earlier(
    measure: Measure,
    mine: RoundTrials,
    now: Score,
    history: Sequence[RoundTrials],
    made: Callable[[RoundTrials], Score],
) -> list[Earlier]:
    """Scores of earlier days, oldest first; rounds of one day are not a change."""
    found = []
    for kept in history:
        if kept.on_date >= mine.on_date:
            continue
        try:
            score = made(kept)
        except NotScorable:
            continue
        differs = what_differs(
            measure,
            HowDone(now.variant, now.facts),
            HowDone(score.variant, score.facts),
        )
        found.append(Earlier(kept.round, kept.on_date, score, tuple(differs)))
    return found


def compared_with(earlier: Sequence[Earlier]) -> Earlier | None:
    """The latest comparable earlier score, else the latest, which says what differs."""
    results = [e for e in earlier if e.score.outcome in ("completed", "unable")]
    pool = [e for e in results if e.comparable] or results
    return pool[-1] if pool else None


def keep(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    round: Round,
    *,
    now: datetime,
) -> Judged:
    """Judge a round and write its derived score, or drop it when there is none.

    What was read against it, later scores and paired tests of the day, is read again.
    """
    made = _keep_one(session, shelf, patient, round, now)
    for other in _read_against(session, shelf, patient, made):
        _keep_one(session, shelf, patient, other, now)
    return made


def _keep_one(
    session: Session, shelf: Catalogue, patient: Patient, round: Round, now: datetime
) -> Judged:
    made = judge(session, shelf, patient, round)
    if made.result is None:
        drop_score(session, round)
    else:
        keep_score(session, round, derived(made.result, shelf.edition), now=now)
    return made


def _read_against(
    session: Session, shelf: Catalogue, patient: Patient, made: Judged
) -> list[Round]:
    """Later rounds of the same test, and that day's rounds of tests paired with it."""
    same = rounds_of(session, patient.id, made.measure.id)
    later = [kept.round for kept in same if kept.on_date > made.on_date]
    for other in shelf.measures.values():
        if made.measure.id in other.made_from:
            rounds = rounds_of(session, patient.id, other.id)
            later += [kept.round for kept in rounds if kept.on_date >= made.on_date]
    return later


def derived(result: Result, edition: str) -> DerivedScore:
    """What lists need of a result without reading it again."""
    lead, score = result.leading, result.score
    return DerivedScore(
        outcome=score.outcome,
        value=None if score.shown is None else str(score.shown),
        unit=score.unit,
        variant=score.variant,
        edition=edition,
        lead_says=lead.says if lead else "",
        lead_source=lead.row.source if lead and lead.row else "",
        lead_crossed=lead.crossed if lead else None,
        change_verdict=result.change.verdict if result.change else None,
    )
