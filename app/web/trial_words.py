"""One stored trial in words, the same on every page that lists it."""

from app.clinical.measure import Measure
from app.clinical.quantities import shown
from app.clinical.quantities import words as with_unit
from app.clinical.vocabulary import OUTCOMES, UNABLE_REASONS
from app.storage.past_rounds import is_imported
from app.storage.trials import Trial
from app.web.judging import clinical_trial


def trial_words(trial: Trial, measure: Measure | None) -> str:
    """What happened, with the unit it was read in, and whether a file told it."""
    said = _what_happened(trial, measure)
    return said + (", from a file" if is_imported(trial) else "")


def _what_happened(trial: Trial, measure: Measure | None) -> str:
    made = clinical_trial(trial)
    if made.value is None:
        reason = UNABLE_REASONS.get(trial.reason, trial.reason)
        return OUTCOMES[trial.outcome] + (f": {reason}" if reason else "")
    said = with_unit(shown(made.value, made.unit), made.unit)
    return f"{said} {measure.noun(said)}".strip() if measure else said
