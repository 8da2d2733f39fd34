"""What the calendar says is owed for an episode of care: a report, a recertification.

Defaults are Medicare's and a site may set its own; each says so wherever it is shown.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from app.clinical.days import full_day

#: Medicare Benefit Policy Manual, chapter 15, section 220.3 D (full text): at least
#: once every 10 treatment days; the first treatment day, evaluation included, is day 1.
REPORT_DAYS: Final = 10
REPORT_SOURCE: Final = (
    "Medicare Benefit Policy Manual, ch. 15, s. 220.3 D, full text: at least once "
    "every 10 treatment days. Check your policy."
)
#: The same, section 220.1.3 (full text): one certification lasts for the plan's
#: duration or 90 calendar days from the first treatment, whichever is less.
RECERTIFY_DAYS: Final = 90
RECERTIFY_SOURCE: Final = (
    "Medicare Benefit Policy Manual, ch. 15, s. 220.1.3, full text: at most 90 "
    "calendar days from the first treatment. Check your policy."
)
#: State home-care body 2018, of the 2015 final rule (secondary); off unless it is set.
REASSESS_SOURCE: Final = (
    "Home health: functional reassessment at least every 30 days (secondary). Check "
    "your policy."
)


@dataclass(frozen=True, slots=True)
class Clocks:
    """A site's intervals in days; 0 turns a clock off.

    `retest` stands for every test; None leaves each the days of its catalogue entry.
    """

    report: int = REPORT_DAYS
    recertify: int = RECERTIFY_DAYS
    reassess: int = 0
    retest: int | None = None

    @property
    def words(self) -> str:
        """All of them in one line, to tell whether they were changed."""
        return (
            f"report {self.report}, recertify {self.recertify}, "
            f"reassess {self.reassess}, retest {self.retest}"
        )


@dataclass(frozen=True, slots=True)
class Owed:
    """One clock of an episode: when it falls due, and how far it has run."""

    kind: str
    due_on: date | None
    used: int
    of: int

    @property
    def words(self) -> str:
        if self.kind == "report":
            return f"{self.used} of {self.of} treatment days used"
        return f"due {full_day(self.due_on)}" if self.due_on else ""


def owed_by(
    days: Collection[date],
    *,
    clocks: Clocks,
    reported: date | None = None,
    certified: date | None = None,
    reassessed: date | None = None,
) -> list[Owed]:
    """The clocks of an episode with treatment on these days.

    A report counts the days after the last one; the others count from the last one, or
    from the first treatment.

    >>> from datetime import date
    >>> days = [date(2026, 3, d) for d in range(1, 11)]
    >>> [o.due_on for o in owed_by(days, clocks=Clocks())]
    [datetime.date(2026, 3, 10), datetime.date(2026, 5, 30)]
    """
    treated = sorted(set(days))
    if not treated:
        return []
    found = []
    if clocks.report:
        since = [day for day in treated if reported is None or day > reported]
        full = since[clocks.report - 1] if len(since) >= clocks.report else None
        found.append(Owed("report", full, len(since), clocks.report))
    for kind, every, last in (
        ("recertify", clocks.recertify, certified),
        ("reassess", clocks.reassess, reassessed),
    ):
        if every:
            # From the first day on which it held: 90 days hold to the 90th, and the
            # next is due on the day after.
            due = (last or treated[0]) + timedelta(days=every)
            found.append(Owed(kind, due, 0, every))
    return found
