"""A caseload as the rows of its files: the open patients of one world."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.measure import Measure
from app.clinical.quantities import convert
from app.exports.caseload_csv import (
    CareCells,
    PatientRow,
    PrecautionCell,
    ScoreRow,
    TrialCell,
    time_cell,
)
from app.exports.trials_csv import NumberedRound
from app.storage.caseload_rows import Care, handles, patient_rows
from app.storage.past_rounds import is_imported
from app.storage.precautions import PrecautionOnEpisode
from app.storage.trials import RoundTrials, Trial
from app.web.judging import clinical_trial
from app.web.released import released

Named = Sequence[tuple[str, int]]
Told = Callable[[int, int], None]


def in_silence(_done: int, _of: int) -> None:
    """The progress of an export that nobody watches."""


def exported_patients(
    session: Session, named: Named, *, demo: bool, progress: Told = in_silence
) -> Iterator[PatientRow]:
    for done, (label, patient_id) in enumerate(named, 1):
        details, cares = patient_rows(session, patient_id)
        told: list[Care | None] = [*cares] or [None]
        for care in told:
            yield PatientRow(
                label=label,
                birth_year=details.birth_year,
                birth_date=details.birth_date,
                sex=details.sex,
                conditions=details.conditions,
                sides=details.sides,
                facts=details.facts,
                care=_care(care) if care else None,
                invented=demo,
                sizes=details.sizes,
                full_name=details.full_name,
                record_number=details.record_number,
            )
        session.expunge_all()
        progress(done, len(named))


def _care(care: Care) -> CareCells:
    episode, profile = care.episode, care.profile
    return CareCells(
        reason=episode.reason,
        setting=episode.setting,
        plan="maintain" if episode.plan == "maintain" else "restore",
        opened_on=episode.opened_on,
        closed_on=episode.closed_on,
        precautions=tuple(map(_precaution, care.precautions)),
        end_reason=episode.end_reason or "",
        order_on=episode.order_on,
        plan_on=episode.plan_on,
        prior_self_care=(profile and profile.prior_self_care) or "",
        prior_mobility=(profile and profile.prior_mobility) or "",
        lives_with=(profile and profile.lives_with) or "",
    )


def _precaution(row: PrecautionOnEpisode) -> PrecautionCell:
    return PrecautionCell(
        row.tag, row.set_on, row.review_on, row.ended_on, row.set_by, row.note,
        row.end_note,
    )  # fmt: skip


def exported_rounds(
    session: Session,
    shelf: Catalogue,
    named: Named,
    *,
    demo: bool,
    progress: Told = in_silence,
) -> Iterator[NumberedRound]:
    """Every round that holds trials and does not wait for a co-signature."""
    known = handles(session)
    for done, (label, patient_id) in enumerate(named, 1):
        for number, kept in released(session, patient_id).numbered:
            if kept.trials:
                row = score_row(shelf, label, kept, known, demo=demo)
                yield NumberedRound(number, row)
        session.expunge_all()
        progress(done, len(named))


def exported_scores(
    session: Session,
    shelf: Catalogue,
    named: Named,
    *,
    demo: bool,
    progress: Told = in_silence,
) -> Iterator[ScoreRow]:
    rounds = exported_rounds(session, shelf, named, demo=demo, progress=progress)
    return (told.row for told in rounds)


def score_row(
    shelf: Catalogue,
    label: str,
    kept: RoundTrials,
    handles: Mapping[int, str],
    *,
    demo: bool,
) -> ScoreRow:
    """A round as a file tells it. An imported one keeps the name its file gave."""
    first = kept.trials[0]
    theirs = str(first.clocks.get("by", "")) if is_imported(first) else None
    by = handles.get(kept.round.person_id, "") if theirs is None else theirs
    measure = shelf.measures.get(kept.round.measure)
    return ScoreRow(
        label=label,
        on=kept.on_date,
        measure=kept.round.measure,
        variant=kept.round.variant,
        trials=tuple(_trial(measure, trial) for trial in kept.trials),
        facts=kept.round.facts,
        by=by,
        invented=demo,
    )


def _trial(measure: Measure | None, trial: Trial) -> TrialCell:
    value, unit = entered(measure, trial)
    start, end = trial.start_mark, trial.end_mark
    return TrialCell(
        outcome=trial.outcome,
        reason=trial.reason,
        value=value,
        unit=unit,
        marks=(start, end) if start is not None and end is not None else None,
        practice=trial.practice,
        unusual=measure is not None and _is_unusual(measure, trial),
        inputs=trial.inputs,
        splits_ms=tuple(trial.splits_ms),
        voided=trial.void_reason or "",
    )


def entered(measure: Measure | None, trial: Trial) -> tuple[str, str]:
    """The value with its unit as it was entered; what was counted has none.

    A cuff's reading is a whole number of mmHg: read back it says so, and a site that
    left it out would not know its own export.
    """
    if trial.raw_ms is not None:
        return time_cell(trial.raw_ms), "s"
    if trial.raw_value is not None:
        return trial.raw_value, trial.raw_unit or ""
    if trial.count is None:
        return "", ""
    unit = measure.trial_units[0] if measure else "count"
    return str(trial.count), "" if unit == "count" else unit


def _is_unusual(measure: Measure, trial: Trial) -> bool:
    """Outside what a trial of this test usually is: somebody stood by it."""
    made = clinical_trial(trial)
    if made.value is None or made.unit not in measure.units:
        return False
    value = convert(Fraction(made.value), made.unit, measure.units[0])
    return not measure.lowest <= value <= measure.highest
