"""From a chance before the test to one after it, in natural frequencies.

Only for cut-offs about falls from prospective or pooled work with a published
sensitivity and specificity; the chance before comes from the person asking.
"""

from dataclasses import replace
from decimal import Decimal

from app.clinical.accuracy import likelihood_ratios, post_test
from app.clinical.quantities import rounded
from app.clinical.readings import Reading


def read_chance(reading: Reading, pretest: Decimal) -> Reading | None:
    """The lead's word on chance, or None when its source allows none.

    `pretest` lies strictly between 0 and 1.
    """
    usable = (
        reading.kind == "cutoff"
        and reading.outcome_type == "falls"
        and reading.design in ("prospective", "pooled")
        and reading.confirmed
        and reading.matched
    )
    if not usable or reading.sensitivity is None or reading.specificity is None:
        return None
    if Decimal(1) in (reading.sensitivity, reading.specificity):
        size = reading.row.n if reading.row and reading.row.n else "unknown size"
        says = f"Not defined for a sample of {size}: a sensitivity or specificity of 1."
        return replace(reading, kind="chance", says=says, pre=pretest)
    ratios = likelihood_ratios(reading.sensitivity, reading.specificity)
    ratio = ratios[0] if reading.crossed else ratios[1]
    if ratio is None:
        return None
    post = post_test(pretest, ratio)
    before, after = rounded(pretest * 100, 0), rounded(post * 100, 0)
    says = (
        f"Of 100 people like those in that study, if {before} had the outcome before "
        f"the test, about {after} have it among those with such a score."
    )
    return replace(
        reading, kind="chance", says=says, pre=rounded(pretest, 3),
        post=rounded(post, 3),
    )  # fmt: skip
