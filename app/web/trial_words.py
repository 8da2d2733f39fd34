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
    if measure is not None and measure.kind == "pressure":
        return _cuff_words(trial, measure)
    said = with_unit(shown(made.value, made.unit), made.unit)
    return f"{said} {measure.noun(said)}".strip() if measure else said


def _cuff_words(trial: Trial, measure: Measure) -> str:
    """`lying, after 5 minutes: 142/80 mmHg, pulse 68`, then what was felt."""
    inputs = trial.inputs
    lower = f"/{inputs['diastolic']}" if inputs.get("diastolic") else ""
    said = [f"{trial.count}{lower} mmHg"]
    if inputs.get("pulse"):
        said.append(f"pulse {inputs['pulse']}")
    whens: dict[str, str] = {}
    for asked in measure.inputs:
        whens |= asked.options if asked.key == "when" else {}
        if asked.kind == "yes_no" and inputs.get(asked.key):
            said.append(asked.label.lower())
    when = whens.get(inputs.get("when", ""), "")
    return f"{when}: " * bool(when) + ", ".join(said)
