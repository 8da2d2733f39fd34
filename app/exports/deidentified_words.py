"""What the de-identified archive says of itself, in README.txt inside it."""

from collections.abc import Iterator
from typing import Final

from app.exports.deidentified import COLUMNS, columns

SHUFFLED: Final = (
    "Patients stand in no order. Each has a code that was drawn for this archive "
    "alone: it is made from nothing, no key to it was kept, and another export has "
    "others."
)
OFFSETS: Final = (
    "DAYS ARE COUNTED from the first visit, because whoever exported asked for it; "
    "only the first visit says its year. The Safe Harbor asks for all parts of dates "
    "but the year to go, so with these days the archive is not de-identified by it. "
    "Whether it may be given away is for the site's privacy officer."
)
NO_OFFSETS: Final = (
    "Of a visit there is its year and its number among the visits of that patient, and "
    "no day."
)


def readme(*, edition: str, version: str, day_offsets: bool) -> Iterator[str]:
    """The lines. No number of patients: so small a number can tell something."""
    yield from (
        f"{line}\r\n"
        for line in (
            "Tests and treatment of patients, without identifiers",
            "",
            "Made by Tapeline " + version + ", catalogue " + edition + ".",
            "",
            "How: the 18 kinds of identifiers of 45 CFR 164.514(b)(2)(i), the Safe "
            "Harbor, are left out. No column takes free text: only words of closed "
            "lists, plain numbers and drawn codes.",
            "There are no names, labels, staff, notes or reasons in own words, and no "
            "place: the setting is a type of place.",
            OFFSETS if day_offsets else NO_OFFSETS,
            "Age is in whole years at the first visit, up to 89. Whoever reached 90 by "
            "their last visit is 90+ throughout; nobody has a birth year.",
            SHUFFLED,
            "",
            "Not in it: students' work that waits for a co-signature, goals nobody "
            "has signed, patients without a visit, and patients who were archived or "
            "folded into another.",
            "",
            "What this does not say: that nobody could be known again. The Safe Harbor "
            "also asks that whoever gives this away has no actual knowledge that what "
            "is left could tell who somebody is. A rare condition at a rare age may. "
            "Show no count, and no share, of 1 to 10 people.",
            "",
            "An empty cell was not recorded, or held what no column here takes. A cell "
            "that would begin with + - = or @ has an apostrophe before it.",
            "Rows of the same patient, visit and round belong together. A reading is "
            "the id of a published row in the catalogue of that edition.",
            "",
            *(
                f"{name}: {', '.join(columns(name, day_offsets=day_offsets))}"
                for name in COLUMNS
            ),
        )
    )
