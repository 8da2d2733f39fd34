"""Which limits a result crosses that a rule asks about, and the sentence that says so.

It looks only at readings that `reading.read` made: confirmed, fitting, and not barred
from a verdict. A limit on the better side, such as that of very fast walkers, is none.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from app.clinical.clauses import DIRECTION_WORDS
from app.clinical.deficit import Rule, Scored
from app.clinical.lead import sex_guessed
from app.clinical.measure import Cutoff, Measure, Norm
from app.clinical.quantities import beyond, shown, words
from app.clinical.reading import EDGE_SAYS, Result, disagreement, plain_limit
from app.clinical.readings import Reading, worse_word
from app.clinical.setup import deviations, fact_words
from app.clinical.vocabulary import OUTCOME_TYPES

ABOUT_DAILY_LIFE: Final = ("falls", "function", "help_needed")
#: How telling each kind of evidence is, 0 the strongest. Common practice: what was
#: measured or not managed first, then what was seen, then what is known or was said.
DAILY_LIFE, NOT_MANAGED, SEEN, OTHER_LINE, DISPUTED = 0, 0, 1, 2, 3
SAMPLE_ONLY, REASONED, AVERAGE_ONLY, ON_RECORD, SAID = 4, 5, 6, 7, 8
_WEIGHTS: Final = {
    **dict.fromkeys(ABOUT_DAILY_LIFE, DAILY_LIFE),
    "one_sd": SAMPLE_ONLY,
    "health_vs_disease": SAMPLE_ONLY,
    "average": AVERAGE_ONLY,
}


@dataclass(frozen=True, slots=True)
class Crossing:
    """A limit that was crossed: `line` is what it is about, or a line of a sample."""

    reading: Reading
    line: str
    says: str


def beyond_says(rule: Rule, tested: Scored) -> tuple[int, str] | None:
    """Weight and sentence of what a result crosses; None when it crosses nothing."""
    found = crossed(rule, tested.result)
    if not found:
        return _easier_says(rule, tested)
    first = found[0]
    disputed = _disputed(tested.result, first.reading)
    parts = [
        f"{_head(tested, first.reading)} {first.says}.",
        _more(first, found),
        EDGE_SAYS.strip() if first.reading.near_edge else "",
        *disputed,
        _beside(rule, tested.result, first.reading),
        _assumed(first.reading),
        off_standard(tested.result),
    ]
    return _weight(found, bool(disputed)), " ".join(part for part in parts if part)


def crossed(rule: Rule, result: Result) -> list[Crossing]:
    """Every limit crossed that the rule asks about: the one that leads first, and an
    average behind all others."""
    made = [_crossing(rule, result, r) for r in _judged(rule, result)]
    found = [c for c in made if c is not None]
    return sorted(
        found, key=lambda c: (c.line == "average", c.reading is not result.leading)
    )


def _judged(rule: Rule, result: Result) -> Iterator[Reading]:
    """Readings on the rule's quantity that may judge."""
    for r in result.readings:
        fits = r.kind in ("norm", "cutoff") and r.matched
        judges = fits and r.confirmed and not r.no_verdict and r.value is not None
        if judges and r.row is not None and r.row.fit.quantity == rule.quantity:
            yield r


def _crossing(rule: Rule, result: Result, r: Reading) -> Crossing | None:
    if isinstance(r.row, Cutoff):
        asked = r.row.outcome_type in rule.limits and r.crossed
        if asked and _worse_side(rule, result.measure, r.row.direction):
            return Crossing(r, r.row.outcome_type, _limit_says(result, r.row))
    if isinstance(r.row, Norm):
        return _sample_line(rule, result, r, r.row)
    return None


def _worse_side(rule: Rule, measure: Measure, direction: str) -> bool:
    """A score's own limit must lie on its worse side; other quantities are the row's
    own, since a part of a score may be better the other way round."""
    worse = "above" if measure.better == "lower" else "below"
    return rule.quantity != "score" or direction.endswith(worse)


def _limit_says(result: Result, row: Cutoff) -> str:
    limit = f"is {DIRECTION_WORDS[row.direction]} {words(row.value, row.unit)}"
    short = result.measure.sources[row.source].short
    if row.outcome_type in ABOUT_DAILY_LIFE:
        return f"{limit}, linked with {row.outcome} in {row.population} ({short})"
    if row.outcome_type == "health_vs_disease":
        told = f"that told apart {row.outcome} in {row.population} ({short})"
        return f"{limit}, the limit {told}; no fall cut-off"
    return f"{limit}, the line for {row.outcome} ({row.population}; {short})"


def _sample_line(rule: Rule, result: Result, r: Reading, norm: Norm) -> Crossing | None:
    """The first line of a sample that was crossed, of those the rule asks for."""
    if norm.fit.group in ("fallers", "nonfallers"):
        return None  # the average of fallers would reassure, that of others alarm
    short = result.measure.sources[norm.source].short
    for line, says_of in _SAMPLES.items():
        says = says_of(result.measure, r, norm) if line in rule.lines else ""
        if says:
            return Crossing(r, line, f"{says}; {short})")
    return None


def _normal(_measure: Measure, r: Reading, norm: Norm) -> str:
    if norm.limit_kind != "normal" or not r.crossed or norm.limit is None:
        return ""
    at = words(norm.limit, norm.unit)
    return f"is beyond the limit of normal given for {norm.population} ({at}"


def _fifth(_measure: Measure, r: Reading, norm: Norm) -> str:
    if norm.limit_kind != "fifth" or not r.crossed or norm.limit is None:
        return ""
    at = words(norm.limit, norm.unit)
    return f"is among the slowest fifth of {norm.population} (from {at} on"


def _quarter(measure: Measure, r: Reading, norm: Norm) -> str:
    limit = norm.percentiles.get(75 if measure.better == "lower" else 25)
    if limit is None or not _past(measure, r, limit):
        return ""
    worse = f"{worse_word(measure)} than three quarters of {norm.population}"
    return f"is {worse} ({words(limit, norm.unit)}"


def _one_sd(measure: Measure, r: Reading, norm: Norm) -> str:
    if norm.mean is None or not norm.sd or norm.skewed:
        return ""
    step = norm.sd if measure.better == "lower" else -norm.sd
    if not _past(measure, r, norm.mean + step):
        return ""
    mean, sd = words(norm.mean, norm.unit), words(norm.sd, norm.unit)
    worse = f"{worse_word(measure)} than the average of {norm.population}"
    return f"is {worse} by more than one SD ({mean}, SD {sd}"


def _average(measure: Measure, r: Reading, norm: Norm) -> str:
    drawn = norm.limit_kind == "average" or (norm.ci95 and not norm.limit_kind)
    if not drawn or norm.fit.group != "healthy" or not r.crossed or not r.threshold:
        return ""
    worse = f"{worse_word(measure)} than the average of {norm.population}"
    far = f"{words(r.threshold, norm.unit)} is the far end of its confidence interval"
    return f"is {worse} ({far}, no limit of normal: nearly half of them lie beyond it"


#: Each line of a sample: how it is said, its bracket left open, or nothing.
_SAMPLES: Final[Mapping[str, Callable[[Measure, Reading, Norm], str]]] = {
    "normal": _normal,
    "fifth": _fifth,
    "quarter": _quarter,
    "one_sd": _one_sd,
    "average": _average,
}


def _past(measure: Measure, r: Reading, limit: Decimal) -> bool:
    """Strictly on the worse side."""
    worse = "above" if measure.better == "lower" else "below"
    return r.value is not None and beyond(r.value, worse, limit)


def _weight(found: list[Crossing], disputed: bool) -> int:
    """Of the most telling limit crossed."""
    best = min(_WEIGHTS.get(crossing.line, OTHER_LINE) for crossing in found)
    return DISPUTED if disputed and best == DAILY_LIFE else best


def _more(first: Crossing, found: list[Crossing]) -> str:
    """How many further sources see it crossed: one source counts once."""
    sources = {c.reading.row.source for c in found if c.reading.row}
    others = len(sources - {first.reading.row.source if first.reading.row else ""})
    if not others:
        return ""
    many = "sources' limits are" if others > 1 else "source's limit is"
    return f"{others} more {many} crossed."


def _disputed(result: Result, first: Reading) -> tuple[str, ...]:
    """Sources about the same thing that see it otherwise, and the one that leads."""
    said = list(disagreement(result.measure, list(result.readings), first))
    lead = result.leading
    if lead is None or not isinstance(lead.row, Cutoff) or lead.crossed is not False:
        return tuple(said)
    if lead.outcome_type != first.outcome_type:
        short = result.measure.sources[lead.row.source].short
        limit = words(lead.row.value, lead.row.unit)
        said.append(
            f"The limit that leads is about {OUTCOME_TYPES[lead.row.outcome_type]}: "
            f"not beyond {limit} ({short})."
        )
    return tuple(said)


def _beside(rule: Rule, result: Result, first: Reading) -> str:
    """What falls, or falls and daily life, say beside a limit about something else."""
    lesser = first.outcome_type not in ABOUT_DAILY_LIFE
    wanted = ABOUT_DAILY_LIFE if lesser else ("falls",)
    about = [r for r in _judged(rule, result) if r.outcome_type in wanted]
    if not about or any(r.crossed for r in about):
        return ""
    what = "falls or daily life" if lesser else "falls"
    return f"No limit linked with {what} is crossed."


def _assumed(first: Reading) -> str:
    """What the limit takes for granted of the person, when that may turn it round."""
    guessed = [
        a for a in first.match.assumed
        if a.startswith(("if still", "if already", "measured in another"))
    ]  # fmt: skip
    if sex_guessed(first):
        guessed += [a for a in first.match.assumed if a in ("if a woman", "if a man")]
    return f"Assumed: {'; '.join(guessed)}." if guessed else ""


def _easier_says(rule: Rule, tested: Scored) -> tuple[int, str] | None:
    """An easier set-up that still lies beyond a limit: reasoning, and said to be."""
    result = tested.result
    off = deviations(result.measure, result.score.facts)
    if not off or not all(d.easier for d in off):
        return None
    for r in result.readings:
        row = r.row
        if not isinstance(row, Cutoff) or row.fit.quantity != rule.quantity:
            continue
        asked = row.outcome_type in rule.limits and r.crossed and plain_limit(r)
        if asked and _worse_side(rule, result.measure, row.direction):
            said = _limit_says(result, row)
            return REASONED, (
                f"{_head(tested, r)} {said}, though the set-up was easier than the "
                f"published one ({off[0].says}): reasoning, not a published finding."
            )
    return None


def _head(tested: Scored, r: Reading) -> str:
    """Test, value as it was compared, and day: `Functional reach 9.5 in (24.1 cm)`."""
    score, name = tested.result.score, named(tested)
    part = score.parts.get(r.row.fit.quantity) if r.row else None
    assert r.value is not None  # only such readings come here
    compared = words(r.value, r.unit)
    if part is not None:
        return f"{name} on {tested.origin.said}: the {part.label}, {compared},"
    value = compared
    if score.shown is not None and score.unit != r.unit:
        value = f"{words(shown(score.shown, score.unit), score.unit)} ({compared})"
    noun = tested.result.measure.noun(value)
    return f"{name} {value}{' ' + noun if noun else ''} on {tested.origin.said}"


def named(tested: Scored) -> str:
    """The test's name, with what sets this result apart from others of it."""
    result, told = tested.result, []
    for key in tested.apart:
        fact, value = result.measure.fact(key), result.score.facts.get(key)
        if fact is None or value is None or value == fact.default:
            continue
        plain = value in ("left", "right")
        told.append(fact.options[value] if plain else fact_words(fact, value))
    return f"{result.measure.name} ({', '.join(told)})" if told else result.measure.name


def off_standard(result: Result) -> str:
    """What of the set-up is not the published one, for a row that asks for that."""
    if result.standard:
        return ""
    return f"Set-up: {'; '.join(result.differs)}."
