"""Rounds of tests as values for FHIR, judged by the one maker of readings.

Only what may go out is judged and compared with: a score never leans on a student's
trial that nobody answers for.
"""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from app.clinical.measure import Fact, Measure
from app.clinical.quantities import shown
from app.clinical.reading import JUDGEMENT, UNCONFIRMED, Result
from app.clinical.readings import Reading
from app.clinical.scores import NotScorable
from app.clinical.scores import Trial as Attempt
from app.clinical.setup import length
from app.clinical.vocabulary import HOWS, OUTCOMES, UNABLE_REASONS
from app.exports.fhir_codes import QUANTITIES
from app.exports.fhir_values import (
    Amount,
    PartValue,
    PressureValue,
    ScoreValue,
    VitalValue,
)
from app.storage.past_rounds import is_imported
from app.storage.trials import RoundTrials, Trial, rounds_of
from app.web.fhir_gathering import Gathering
from app.web.fhir_stops import stop_notes
from app.web.judging import (
    Judged,
    PairsByDay,
    body_of,
    counts,
    judged,
    pairs_by_day,
    person_on,
    score_of,
)
from app.web.rejudging import is_known

#: What a cuff's reading holds beside the upper pressure; told as vital signs.
_OF_THE_CUFF = ("when", "diastolic", "pulse")
_REMARKS = (JUDGEMENT, UNCONFIRMED)

ByMeasure = Mapping[str, Sequence[RoundTrials]]


def scores(g: Gathering) -> list[ScoreValue]:
    """Each score that its trials make, oldest first."""
    everything = rounds_of(g.session, g.patient.id)
    by_measure = _that_go(g, everything)
    found = []
    going = {kept.round.id for same in by_measure.values() for kept in same}
    for kept in everything:
        if kept.round.id in going:
            made = _judged(g, kept, by_measure)
            if made.result is not None:
                found.append(_score(g, made, by_measure))
            elif kept.trials:
                g.unfinished += 1
    return found


def round_key(kept: RoundTrials) -> str:
    return f"round {kept.round.uid}"


def _that_go(g: Gathering, rounds: Sequence[RoundTrials]) -> ByMeasure:
    found: dict[str, list[RoundTrials]] = {}
    for kept in rounds:
        g.voided += sum(1 for t in kept.trials if t.voided_at is not None)
        if not is_known(g.shelf, kept.round):
            g.unfinished += 1
        elif g.release.round_goes(kept):
            found.setdefault(kept.round.measure, []).append(kept)
        elif kept.trials:
            g.release.left_out["tests"] += 1
    return found


def rounds_left_out(g: Gathering) -> frozenset[int]:
    """Rounds that no goal may lean on: those that do not go out, and those of the same
    day that are made with them."""
    everything = rounds_of(g.session, g.patient.id)
    out = [kept for kept in everything if not g.release.round_goes(kept)]
    days = {(kept.round.measure, kept.on_date) for kept in out}
    made_with = [
        kept
        for kept in everything
        if is_known(g.shelf, kept.round)
        for other in g.shelf.measures[kept.round.measure].made_from
        if (other, kept.on_date) in days
    ]
    return frozenset(kept.round.id for kept in (*out, *made_with))


def _pairs(g: Gathering, measure: Measure, rounds: ByMeasure) -> PairsByDay:
    others = {other: rounds.get(other, ()) for other in measure.made_from}
    return pairs_by_day(g.shelf, measure, others)


def _judged(g: Gathering, kept: RoundTrials, rounds: ByMeasure) -> Judged:
    measure = g.shelf.measures[kept.round.measure]
    setting = g.episodes[g.visits[kept.round.visit_id].episode_id].setting
    person = person_on(g.details, setting, kept.on_date)
    pairs = _pairs(g, measure, rounds)
    history = rounds[measure.id]
    return judged(measure, kept, history, person, pairs, body_of(g.details))


def _score(g: Gathering, made: Judged, rounds: ByMeasure) -> ScoreValue:
    result = made.result
    assert result is not None
    score, measure = result.score, made.measure
    counted = [t for t in made.trials if t.voided_at is None and not t.practice]
    last = counted[-1] if counted else None
    by = last.recorded_by if last else made.round.person_id
    at = last.recorded_at if last else made.round.created_at
    key = f"round {made.round.uid}"
    cuff = counted if measure.kind == "pressure" else []
    return ScoreValue(
        **g.seen(made.round.visit_id, by, at, key),
        measure=measure.id,
        name=measure.name,
        standard=result.standard,
        outcome=score.outcome,
        why=UNABLE_REASONS.get(score.reason, score.reason),
        amount=None if score.shown is None else Amount(score.shown, score.unit),
        method=_method(result),
        parts=tuple(_parts(made, result)),
        made_from=tuple(_made_from(g, made, result, rounds)),
        readings_of=tuple(f"trial {t.uid}" for t in cuff if counts(t)),
        notes=tuple(_notes(result, counted))
        + stop_notes(g, made.round.visit_id, counted),
    )


def _method(result: Result) -> str:
    rule = f"Rule: {result.measure.variant(result.score.variant).label}."
    if result.standard:
        return rule
    return f"{rule} Not the published set-up: {'; '.join(result.differs)}."


def _made_from(
    g: Gathering, made: Judged, result: Result, rounds: ByMeasure
) -> Iterator[str]:
    """The scores of that day which it is made with, where it is made with any."""
    measure = made.measure
    if not measure.components and not result.score.parts:
        return
    for other, chosen in _pairs(g, measure, rounds)(made.on_date).items():
        that_day = [k for k in rounds.get(other, ()) if k.on_date == made.on_date]
        same = [k for k in that_day if _makes(g.shelf.measures[other], k) == chosen]
        yield from map(round_key, same[:1])


def _makes(measure: Measure, kept: RoundTrials) -> object:
    try:
        return score_of(measure, kept)
    except NotScorable:
        return None


def _parts(made: Judged, result: Result) -> Iterator[PartValue]:
    """Trials, what stands beside the score, what was counted, and the set-up."""
    measure, score = made.measure, result.score
    if measure.kind != "pressure":
        for place, attempt in enumerate(score.trials, 1):
            yield _trial(place, attempt)
    for name, value in score.beside.items():
        amount = Amount(shown(value, score.unit), score.unit)
        label = measure.variant(name).label
        yield PartValue(code=f"rule.{name}", text=label, amount=amount)
    for name, part in score.parts.items():
        yield PartValue(
            code=f"quantity.{name}", text=part.label,
            loinc=QUANTITIES.get((measure.id, name), ""),
            amount=Amount(shown(part.value, part.unit), part.unit),
        )  # fmt: skip
    yield from _inputs(made)
    for key, said in score.facts.items():
        fact = measure.fact(key)
        if fact is not None:
            yield _fact(fact, said)


def _trial(place: int, attempt: Attempt) -> PartValue:
    text = f"Trial {place}"
    if attempt.value is None:
        why = UNABLE_REASONS.get(attempt.reason, attempt.reason)
        said = ": ".join(filter(None, (OUTCOMES[attempt.outcome], why)))
        return PartValue(code="trial", text=text, outcome=attempt.outcome, why=said)
    amount = Amount(shown(attempt.value, attempt.unit), attempt.unit)
    return PartValue(code="trial", text=text, amount=amount)


def _inputs(made: Judged) -> Iterator[PartValue]:
    """What was entered beside the last counted trial, as the page tells it."""
    done = [t for t in made.trials if counts(t)]
    for asked in made.measure.inputs:
        value = done[-1].inputs.get(asked.key) if done else None
        if value is None or asked.key in _OF_THE_CUFF:
            continue
        code = f"input.{asked.key}"
        if asked.kind in ("count", "seconds"):
            unit = "s" if asked.kind == "seconds" else "count"
            amount = Amount(Decimal(value), unit)
            yield PartValue(code=code, text=asked.label, amount=amount)
        else:
            words = asked.options.get(value, value)
            yield PartValue(code=code, text=asked.label, words=words)


def _fact(fact: Fact, value: str) -> PartValue:
    code = f"fact.{fact.key}"
    if fact.kind == "length":
        return PartValue(code=code, text=fact.label, amount=Amount(*length(value)))
    if fact.kind == "choice":
        choice = (f"{code}.{value}", fact.options.get(value, value))
        return PartValue(code=code, text=fact.label, choice=choice)
    return PartValue(code=code, text=fact.label, words=value)


def _notes(result: Result, counted: Sequence[Trial]) -> Iterator[str]:
    """What the page says of it, lead first, each with its source and how known."""
    lead = result.leading
    if lead is None:
        yield result.no_lead_because
    else:
        yield f"Read first: {_reading(result.measure, lead)}"
    if result.change is not None:
        yield f"Change: {result.change.says}"
    rest = [r for r in result.readings if r.matched and r is not lead]
    yield from (_reading(result.measure, r) for r in rest)
    yield from (c for c in result.cautions if c not in _REMARKS)
    if result.assumed:
        yield f"Assumed: {'; '.join(result.assumed)}."
    if any(is_imported(trial) for trial in counted):
        yield "From a file, not measured with this program."


def _reading(measure: Measure, reading: Reading) -> str:
    if reading.row is None:
        return reading.says
    source = measure.sources[reading.row.source].short
    return f"{reading.says} Source: {source} ({HOWS[reading.row.how]})."


def cuff_readings(
    g: Gathering, made: Sequence[ScoreValue]
) -> tuple[list[PressureValue], list[VitalValue]]:
    """Pressures and pulses of the tests that take them, each an observation too."""
    wanted = {key for score in made for key in score.readings_of}
    pressures: list[PressureValue] = []
    pulses: list[VitalValue] = []
    for kept in rounds_of(g.session, g.patient.id):
        whens = _whens(g, kept)
        for trial in kept.trials:
            if f"trial {trial.uid}" in wanted:
                when = trial.inputs.get("when", "")
                pressures.append(_pressure(g, kept, trial, when, whens.get(when, when)))
                pulses += _pulse(g, kept, trial, when, whens.get(when, when))
    return pressures, pulses


def _whens(g: Gathering, kept: RoundTrials) -> Mapping[str, str]:
    measure = g.shelf.measures.get(kept.round.measure)
    asked = [i for i in measure.inputs if i.key == "when"] if measure else []
    return asked[0].options if asked else {}


def _pressure(
    g: Gathering, kept: RoundTrials, trial: Trial, when: str, words: str
) -> PressureValue:
    lower = trial.inputs.get("diastolic")
    return PressureValue(
        **g.seen(
            kept.round.visit_id, trial.recorded_by, trial.recorded_at,
            f"trial {trial.uid}",
        ),
        systolic=trial.count,
        diastolic=int(lower) if lower else None,
        position=when,
        position_words=words,
    )  # fmt: skip


def _pulse(
    g: Gathering, kept: RoundTrials, trial: Trial, when: str, words: str
) -> Iterator[VitalValue]:
    pulse = trial.inputs.get("pulse")
    if pulse:
        yield VitalValue(
            **g.seen(
                kept.round.visit_id, trial.recorded_by, trial.recorded_at,
                f"trial {trial.uid} pulse",
            ),
            what="heart_rate",
            label="Heart rate",
            amount=Amount(Decimal(pulse), "/min"),
            position=when,
            position_words=words,
        )  # fmt: skip
