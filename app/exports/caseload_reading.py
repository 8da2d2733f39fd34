"""Rows of patients.csv, scores.csv and trials.csv as read back, or what is wrong.

Strict: a word outside its closed list, a day that has not come, a number no trial of
that test can have. Every problem of a row is told at once, with its line and column.
"""

import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import BinaryIO, Final

from app.clinical.measure import Measure
from app.clinical.person import Onset
from app.clinical.precautions import PRECAUTIONS
from app.clinical.setup import BadFact, read_facts
from app.clinical.vocabulary import (
    CONDITIONS,
    EPISODE_ENDS,
    LIVES_WITH,
    PERSON_FACTS,
    PRIOR_LEVELS,
    SETTINGS,
    SEXES,
    SIDED,
    SIDES,
    SIZES,
)
from app.exports.caseload_csv import (
    INVENTED,
    PATIENT_COLUMNS,
    SCORE_COLUMNS,
    CareCells,
    PatientRow,
    PrecautionCell,
    ScoreRow,
)
from app.exports.csv_cells import BadFile, Cells, read, split, unescaped
from app.exports.trial_cells import BadTrial, trials_of
from app.exports.trials_csv import TRIAL_COLUMNS
from app.exports.trials_reading import NEEDED, whole_rounds

PLANS: Final = ("restore", "maintain")
EARLIEST: Final = date(1900, 1, 1)
CARE_COLUMNS: Final = (
    "reason", "setting", "plan", "opened_on", "closed_on", "end_reason", "order_on",
    "plan_on", "prior_self_care", "prior_mobility", "lives_with", "precautions",
)  # fmt: skip
_NEEDED: Final[Mapping[Sequence[str], Sequence[str]]] = {
    PATIENT_COLUMNS: ("label",),
    SCORE_COLUMNS: ("label", "date", "measure"),
    TRIAL_COLUMNS: NEEDED,
}
_SIZE: Final = re.compile(r"\d{1,5}(\.\d{1,4})?", re.ASCII)
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong in a file. `column` is empty when it is the whole line."""

    line: int
    column: str
    says: str


@dataclass(frozen=True, slots=True)
class ReadRow:
    """A line: its row, or the problems that keep it from being one."""

    line: int
    row: PatientRow | ScoreRow | None
    problems: tuple[Problem, ...] = ()


class _Fields:
    """The cells of one row, and every problem met while reading them."""

    def __init__(self, cells: Cells, today: date) -> None:
        self.cells, self.today = cells, today
        self.problems: list[Problem] = []

    def wrong(self, column: str, says: str) -> None:
        self.problems.append(Problem(self.cells.line, column, says))

    def text(self, column: str, longest: int, *, needed: bool = False) -> str:
        text = self.cells.by_column.get(column, "")
        if needed and not text:
            self.wrong(column, "This may not be empty.")
        if len(text) > longest:
            self.wrong(column, f"At most {longest} letters.")
        return text

    def word(
        self, column: str, allowed: Collection[str], *, needed: bool = False
    ) -> str:
        word = self.text(column, 80, needed=needed)
        if word and word not in allowed:
            self.wrong(column, f"{word!r} is not one of {', '.join(allowed)}.")
        return word

    def day(self, column: str, *, needed: bool = False) -> date | None:
        text = self.text(column, 40, needed=needed)
        return self.day_in(column, text) if text else None

    def day_ahead(self, column: str) -> date | None:
        """A day that may still come."""
        text = self.text(column, 40)
        return self.day_in(column, text, ahead=True) if text else None

    def day_in(self, column: str, text: str, *, ahead: bool = False) -> date | None:
        """A day as text; only a review may lie ahead."""
        try:
            day = date.fromisoformat(text) if _DAY.fullmatch(text) else None
        except ValueError:
            day = None
        if day is None:
            self.wrong(column, f"{text!r} is no day. Write it like 2026-03-09.")
        elif day < EARLIEST or day.year > 2100:
            self.wrong(column, f"{text}: check the year.")
        elif day > self.today and not ahead:
            self.wrong(column, f"{text} has not come yet.")
        return day

    def onset_in(self, column: str, text: str) -> Onset | None:
        """A day, a month or a year that has begun."""
        try:
            onset = Onset.read(text.strip())
        except ValueError:
            self.wrong(
                column,
                f"{text!r} is no day. Write it like 2026-03-09, 2026-03 or 2026.",
            )
            return None
        if onset.first > self.today:
            self.wrong(column, f"{text} has not come yet.")
        return onset

    def pairs(self, column: str) -> Iterator[tuple[str, str]]:
        for part in split(self.cells.by_column.get(column, ""), ";"):
            key, mark, value = part.partition("=")
            if not mark:
                self.wrong(column, f"{part!r}: write key=value, parted by semicolons.")
            else:
                yield key.strip(), unescaped(value.strip())

    def invented(self) -> bool:
        return self.word("invented", (INVENTED,)) == INVENTED


def rows_of(
    stream: BinaryIO, shelf: Mapping[str, Measure], today: date
) -> Iterator[ReadRow]:
    """Every row of a file; the last may be a problem that ends the reading.

    A round of trials.csv is one row, as it would be in scores.csv.
    """
    try:
        columns, cells = read(stream)
        known = columns_of(columns)
        _check_columns(columns, known)
        if known is TRIAL_COLUMNS:
            cells = whole_rounds(cells)
        reading: Callable[[_Fields], PatientRow | ScoreRow] = (
            _patient
            if known is PATIENT_COLUMNS
            else (lambda fields: _score(fields, shelf))
        )
        for each in cells:
            fields = _Fields(each, today)
            row = reading(fields)
            problems = tuple(fields.problems)
            yield ReadRow(each.line, None if problems else row, problems)
    except BadFile as fault:
        yield ReadRow(fault.line, None, (Problem(fault.line, "", fault.says),))


def columns_of(columns: Sequence[str]) -> Sequence[str]:
    """Those of the file that these columns begin like."""
    if "measure" not in columns:
        return PATIENT_COLUMNS
    return TRIAL_COLUMNS if "trial" in columns else SCORE_COLUMNS


def _check_columns(columns: Sequence[str], known: Sequence[str]) -> None:
    needed = _NEEDED[known]
    for name in columns:
        if name not in known:
            told = ", ".join(known)
            raise BadFile(1, f"There is no column {name!r}. The columns are: {told}.")
        if columns.count(name) > 1:
            raise BadFile(1, f"The column {name!r} stands there twice.")
    for name in needed:
        if name not in columns:
            raise BadFile(1, f"The column {name!r} is missing from the first line.")


def _patient(f: _Fields) -> PatientRow:
    born = f.day("birth_date")
    year = _year(f)
    if born and year:
        f.wrong("birth_year", "Give the birth date or the year, not both.")
    conditions = _conditions(f)
    return PatientRow(
        label=f.text("label", 80, needed=True),
        birth_year=year,
        birth_date=born,
        sex=f.word("sex", SEXES) or None,
        conditions={name: onset for name, (onset, _) in conditions.items()},
        sides={name: side for name, (_, side) in conditions.items() if side},
        facts=_person_facts(f),
        care=_care(f),
        invented=f.invented(),
        sizes=_sizes(f),
        full_name=f.text("full_name", 120),
        record_number=f.text("record_number", 40),
    )


def _year(f: _Fields) -> int | None:
    text = f.text("birth_year", 10)
    if not text:
        return None
    if not re.fullmatch(r"\d{4}", text, re.ASCII):
        f.wrong("birth_year", f"{text!r} is no year like 1948.")
        return None
    if not EARLIEST.year <= int(text) <= f.today.year:
        f.wrong("birth_year", f"{text}: check the year.")
    return int(text)


def _conditions(f: _Fields) -> dict[str, tuple[Onset | None, str]]:
    """Each with when it began and its side, as far as they are told."""
    found: dict[str, tuple[Onset | None, str]] = {}
    for part in split(f.cells.by_column.get("conditions", ""), ";"):
        name, *more = split(part, "|")
        if name not in CONDITIONS:
            known = ", ".join(CONDITIONS)
            f.wrong("conditions", f"{name!r} is not one of {known}.")
        if name in found:
            f.wrong("conditions", f"{name!r} stands there twice.")
        said = dict(text.partition(" ")[::2] for text in more)
        if len(said) < len(more) or not set(said) <= {"since", "side"}:
            f.wrong(
                "conditions",
                f"{part!r}: write it like stroke | since 2025-01-31 | side left.",
            )
        onset = f.onset_in("conditions", said["since"]) if "since" in said else None
        found[name] = onset, _side(f, name, said.get("side", "").strip())
    return dict(sorted(found.items()))


def _side(f: _Fields, name: str, side: str) -> str:
    if side and (name not in SIDED or side not in SIDES):
        told = ", ".join(SIDES) if name in SIDED else "it has no side"
        f.wrong("conditions", f"{name}: side {side!r}: {told}.")
    return side


def _person_facts(f: _Fields) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in f.pairs("facts"):
        allowed = PERSON_FACTS.get(key)
        if allowed is None:
            f.wrong("facts", f"{key!r} is not one of {', '.join(PERSON_FACTS)}.")
        elif value not in allowed:
            f.wrong("facts", f"{key}: {value!r} is not one of {', '.join(allowed)}.")
        elif key in found:
            f.wrong("facts", f"{key!r} stands there twice.")
        found[key] = value
    return found


def _sizes(f: _Fields) -> dict[str, tuple[str, str]]:
    """Value and unit as they were typed."""
    found: dict[str, tuple[str, str]] = {}
    for key, told in f.pairs("sizes"):
        value, _, unit = told.partition(" ")
        units = SIZES[key][1] if key in SIZES else {}
        if key not in SIZES:
            f.wrong("sizes", f"{key!r} is not one of {', '.join(SIZES)}.")
        elif unit not in units:
            f.wrong("sizes", f"{key}: write a number and one of {', '.join(units)}.")
        elif not _SIZE.fullmatch(value) or not value.strip("0."):
            f.wrong("sizes", f"{key}: {value!r} is no number like 170 or 66.5.")
        elif key in found:
            f.wrong("sizes", f"{key!r} stands there twice.")
        found[key] = (value, unit)
    return dict(sorted(found.items()))


def _care(f: _Fields) -> CareCells | None:
    """All of it or nothing: a stretch of care needs its reason and its first day."""
    if not any(f.cells.by_column.get(name) for name in CARE_COLUMNS):
        return None
    opened, closed = f.day("opened_on", needed=True), f.day("closed_on")
    if opened and closed and closed < opened:
        f.wrong("closed_on", "This day lies before opened_on.")
    ended = f.word("end_reason", EPISODE_ENDS)
    if ended and not f.cells.by_column.get("closed_on"):
        f.wrong("end_reason", "Why, but not when: give closed_on too.")
    plan = f.word("plan", PLANS, needed=True)
    return CareCells(
        reason=f.text("reason", 200, needed=True),
        setting=f.word("setting", SETTINGS, needed=True),
        plan="maintain" if plan == "maintain" else "restore",
        opened_on=opened or f.today,
        closed_on=closed,
        end_reason=ended,
        order_on=f.day_ahead("order_on"),
        plan_on=f.day_ahead("plan_on"),
        prior_self_care=f.word("prior_self_care", PRIOR_LEVELS),
        prior_mobility=f.word("prior_mobility", PRIOR_LEVELS),
        lives_with=f.word("lives_with", LIVES_WITH),
        precautions=tuple(
            _precaution(f, part, opened or f.today)
            for part in split(f.cells.by_column.get("precautions", ""), ";")
        ),
    )


def _precaution(f: _Fields, text: str, opened: date) -> PrecautionCell:
    tag, *more = split(text, "|")
    if tag not in PRECAUTIONS:
        f.wrong("precautions", f"{tag!r} is not one of {', '.join(PRECAUTIONS)}.")
    said: dict[str, str] = {}
    for part in more:
        key, _, value = part.partition(" ")
        if key not in ("set", "review", "ended", "by", "note", "why") or key in said:
            f.wrong(
                "precautions",
                f"{part!r}: after the word come set, review or ended with a day, and "
                "by, note or why with words.",
            )
        said[key] = unescaped(value.strip())
    days = {
        key: f.day_in("precautions", said[key], ahead=key == "review")
        for key in ("set", "review", "ended")
        if key in said
    }
    made = PrecautionCell(
        tag, days.get("set") or opened, days.get("review"), days.get("ended"),
        said.get("by", ""), said.get("note", ""), said.get("why", ""),
    )  # fmt: skip
    _check_precaution(f, made)
    return made


def _check_precaution(f: _Fields, made: PrecautionCell) -> None:
    for day in (made.review_on, made.ended_on):
        if day and made.set_on and day < made.set_on:
            f.wrong("precautions", f"{made.tag}: {day} lies before it was set.")
    if made.why_ended and not made.ended_on:
        f.wrong("precautions", f"{made.tag}: why, but not when it ended.")
    for text, longest in ((made.set_by, 80), (made.note, 500), (made.why_ended, 200)):
        if len(text) > longest:
            f.wrong("precautions", f"{made.tag}: at most {longest} letters.")


def _score(f: _Fields, shelf: Mapping[str, Measure]) -> ScoreRow:
    on = f.day("date", needed=True)
    name = f.word("measure", shelf, needed=True)
    label, by = f.text("label", 80, needed=True), f.text("by", 80)
    invented = f.invented()
    measure = shelf.get(name)
    if measure is None or on is None:
        return ScoreRow(label, f.today, name)
    variant = f.word("variant", [rule.id for rule in measure.variants])
    facts: dict[str, str] = {}
    for key, value in f.pairs("facts"):
        try:
            facts |= read_facts(measure, {key: value})
        except BadFact as fault:
            f.wrong("facts", str(fault))
    try:
        cells = {c: f.text(c, 20_000) for c in ("trials", "outcome", "reason")}
        trials = trials_of(measure, cells)
    except BadTrial as fault:
        f.wrong(fault.column, str(fault))
        trials = ()
    return ScoreRow(label, on, name, variant, trials, facts, by, invented)
