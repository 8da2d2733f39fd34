"""What stands in each column of a caseload's files, in words for who writes one."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from app.clinical.vocabulary import EPISODE_ENDS, LIVES_WITH, PRIOR_LEVELS

PATIENTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "label": "A made-up label, no name. The same in both files.",
        "birth_year": "Like 1948. Or birth_date, not both; neither is allowed.",
        "birth_date": "Like 1948-03-09.",
        "sex": "female or male, for the norms; may be empty.",
        "conditions": "Words of the catalogue, each with the day, month or "
        "year it began and its side if known: "
        "stroke | since 2025-11-30 | side left; copd | since 2019",
        "facts": "What some sources depend on: fall_history=one; severity=mild",
        "reason": "What care is for. Empty with all that tells of care: none yet.",
        "setting": "Like community, outpatient, acute, inpatient.",
        "plan": "restore or maintain.",
        "opened_on": "The day this care began.",
        "closed_on": "The day it ended, if it did. A second stretch of care is a "
        "second row with the same label.",
        "precautions": "Orders and risks: hip_post | set 2026-01-02 | by Ward team; "
        "oxygen | note Two litres. Also review and ended with a day, why with words.",
        "sizes": "Body sizes as measured: height=170 cm; weight=154 lb; "
        "lower_leg=45 cm",
        "full_name": "Only where the site keeps names: TAPELINE_IDENTIFIERS=full.",
        "record_number": "Likewise.",
        "end_reason": "Why it ended: " + ", ".join(EPISODE_ENDS) + ".",
        "order_on": "The day of the order, if it is known.",
        "plan_on": "The day of the plan of care, if it is known.",
        "prior_self_care": "Before: " + ", ".join(PRIOR_LEVELS) + ".",
        "prior_mobility": "The same words.",
        "lives_with": ", ".join(LIVES_WITH) + ".",
        "invented": "yes for invented patients of a demo; else empty.",
    }
)
SCORES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "label": "As in patients.csv, or of a patient who is here.",
        "date": "The day of the visit, like 2026-03-09.",
        "measure": "The test's word, as tapeline measures lists it.",
        "variant": "Its trial rule, if it has several; empty takes the first.",
        "trials": "In order, with the unit: 16.24 s; 15.9 s | practice. A trial may "
        "say from 3.5 to 13 (marks), input, splits, unusual, voided and why.",
        "outcome": "Without a number: unable, stopped, declined or not_done.",
        "reason": "Why, with such an outcome. For unable: physical, hands_on_help, "
        "not_understood, pain or symptoms.",
        "facts": "The set-up: seat_height=17.5 in; device=cane",
        "by": "Who did it, as they were called there. May be empty.",
        "invented": "As in patients.csv.",
    }
)
#: Of trials.csv, what scores.csv does not have.
TRIALS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "round": "Counts the tests of a label: 1, 2, 3. The rows of one stand together "
        "and say the same but for the trial.",
        "trial": "Counts the trials of a round: 1, 2, 3.",
        "practice": "yes, or nothing.",
        "value": "As it was read; only with completed.",
        "unit": "Of the value; empty for what was counted.",
        "start_mark": "Of a distance read as two marks, where it began.",
        "end_mark": "And where it ended.",
        "inputs": "What was ticked or counted beside it: catches=1",
        "splits": "Rising seconds of the marked moments.",
        "unusual": "yes where the number is outside what is usual and somebody stood "
        "by it.",
        "voided": "yes, or nothing.",
        "void_reason": "Why, if it was voided.",
    }
)
