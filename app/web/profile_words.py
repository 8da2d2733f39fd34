"""The closed answers of the occupational profile, by what its page calls each."""

from collections.abc import Mapping
from typing import Final

from app.clinical.vocabulary import LIVES_WITH, PRIOR_LEVELS

CHOICES: Final[Mapping[str, tuple[str, Mapping[str, str]]]] = {
    "prior_self_care": ("Washing and dressing before", PRIOR_LEVELS),
    "prior_mobility": ("Getting about before", PRIOR_LEVELS),
    "lives_with": ("Lives", LIVES_WITH),
}
