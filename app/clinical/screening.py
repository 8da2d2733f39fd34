"""Questions that screening pathways ask, with every answer they take. Closed lists.

Our own short words; no published questionnaire is copied. The self-check is a total the
person brings along, never summed here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

_YES_NO: Final = MappingProxyType({"no": "no", "yes": "yes"})
#: The most points of the 12-question self-check: two questions count 2, ten count 1.
SELF_CHECK_MOST: Final = 14


@dataclass(frozen=True, slots=True)
class Question:
    """A choice has `options`; a number has none and runs from 0 to `most`."""

    label: str
    options: Mapping[str, str] = field(default_factory=lambda: _YES_NO)
    most: int = 0

    def knows(self, value: str) -> bool:
        if self.options:
            return value in self.options
        plain = value.isascii() and value.isdigit() and len(value) < 4
        return plain and int(value) <= self.most

    def words(self, value: str) -> str:
        return self.options.get(value, value)


QUESTIONS: Final[Mapping[str, Question]] = MappingProxyType(
    {
        "falls_12_months": Question(
            "Falls in the past 12 months",
            {"none": "none", "one": "one", "two_or_more": "two or more"},
        ),
        "fall_injury": Question(
            "Hurt in a fall in the past 12 months",
            {
                "no": "no",
                "untreated": "yes, no treatment needed",
                "treated": "yes, needed medical treatment",
            },
        ),
        "could_not_get_up": Question(
            "Lay an hour or more, or could not get up, after a fall"
        ),
        "lost_consciousness": Question("Lost consciousness, or a faint is suspected"),
        "frailty": Question("Frail, by a frailty assessment"),
        "unsteady": Question("Feels unsteady when standing or walking"),
        "worried": Question("Worried about falling"),
        "self_check": Question(
            "Total of the 12-question self-check", {}, SELF_CHECK_MOST
        ),
        "dizzy_on_standing": Question("Dizzy on standing up"),
        "gait_or_balance_problem": Question("A gait or balance problem is seen"),
        "risk_factor": Question("Something that raises fall risk, at 50 to 64"),
    }
)
#: Asked of somebody who has fallen; without a fall they are "no".
OF_A_FALL: Final = ("fall_injury", "could_not_get_up", "lost_consciousness")


def with_implied(answers: Mapping[str, str]) -> dict[str, str]:
    """The answers, and what follows for somebody without a fall.

    No fall, but hurt in one: then how many falls there were is not known.
    """
    if answers.get("falls_12_months") != "none":
        return dict(answers)
    if contradicted(answers):
        return {k: v for k, v in answers.items() if k != "falls_12_months"}
    return dict.fromkeys(OF_A_FALL, "no") | dict(answers)


def contradicted(answers: Mapping[str, str]) -> bool:
    """No fall is said, and yet what came of one."""
    none = answers.get("falls_12_months") == "none"
    return none and any(answers.get(key, "no") != "no" for key in OF_A_FALL)
