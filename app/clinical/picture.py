"""All tests of one visit side by side: which answers agree, and which cannot be had.

Only answers about one and the same outcome are set against each other. Nothing is added
up, no chances are multiplied, and no test that was not read takes a side.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from app.clinical.course import RESULTS
from app.clinical.lead import may_lead, sex_guessed
from app.clinical.measure import Measure
from app.clinical.person import Person
from app.clinical.reading import JUDGEMENT, Result
from app.clinical.readings import Reading
from app.clinical.setup import HowDone, fact_words, what_differs
from app.clinical.vocabulary import OUTCOMES, PERSON_FACTS, UNABLE_REASONS

#: In the order of the page; a domain that is not here comes after them.
DOMAINS: Final = (
    "standing balance", "sitting balance", "transfers", "stepping", "mobility",
    "circulation", "several",
)  # fmt: skip
#: What answers may agree about: things that may happen to this person.
ABOUT: Final = {
    "falls": "Falls", "function": "Function", "help_needed": "Needing help",
}  # fmt: skip
NOT_ADDED: Final = (
    "They are not added up: no sum of these answers is a score. Nor are chances "
    "multiplied: the tests overlap, and one weakness would count several times."
)
NOT_ALIKE: Final = (
    "Each limit was found in other people and means something of its own: open a test "
    "to see whose it is."
)
NO_CLEARANCE: Final = "A score beyond no limit clears nobody who has fallen."
#: What was not read, in the order it is told.
_UNREAD: Final = ("unable", "stopped", "declined", "not_done", "completed", "begun")

Side = Literal["beyond", "not", "split"]


@dataclass(frozen=True, slots=True)
class Done:
    """A test of the visit by the name it goes by here; `missing` while unfinished."""

    name: str
    measure: Measure
    result: Result | None
    missing: str = ""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Who says what about one outcome. `split`: its own sources disagree."""

    outcome_type: str
    beyond: tuple[str, ...]
    others: tuple[str, ...]
    split: tuple[str, ...]
    near: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class Unread:
    """A test that gave no answer here, and why."""

    name: str
    outcome: str
    why: str


@dataclass(frozen=True, slots=True)
class Picture:
    """What the tests of one visit say together, and what they cannot say."""

    agreements: tuple[Agreement, ...]
    unread: tuple[Unread, ...]
    apart: tuple[str, ...]
    cannot_say: tuple[str, ...]


def picture_of(done: Sequence[Done], person: Person) -> Picture:
    """Set the answers of a visit side by side. `done` comes in the order it was done.

    Of a test done twice in one set-up the later result counts.
    """
    counted = [d for d in done if not repeated(d, done)]
    found = [_agreement(about, counted) for about in ABOUT]
    agreements = tuple(a for a in found if a is not None)
    return Picture(
        agreements=agreements,
        unread=tuple(_unread(counted)),
        apart=(
            *_averages(counted),
            *_made_with(counted),
            *_in_several_set_ups(counted),
        ),
        cannot_say=tuple(_cannot_say(agreements, person)),
    )


def repeated(one: Done, done: Sequence[Done]) -> bool:
    """Whether a later result of the same test in the same set-up stands for it."""
    later = done[[id(d) for d in done].index(id(one)) + 1 :]
    return any(_stands_for(other, one) for other in later)


def _stands_for(later: Done, one: Done) -> bool:
    a, b = later.result, one.result
    if later.measure.id != one.measure.id or a is None or b is None:
        return False
    if a.score.outcome not in RESULTS:
        return False
    hows = [HowDone(r.score.variant, r.score.facts) for r in (a, b)]
    return not what_differs(one.measure, *hows)


def names_of(done: Sequence[tuple[Measure, dict[str, str]]]) -> list[str]:
    """The short name of each test; what was set up otherwise where one occurs twice."""
    return [_name(measure, facts, done) for measure, facts in done]


def _name(
    measure: Measure,
    facts: dict[str, str],
    done: Sequence[tuple[Measure, dict[str, str]]],
) -> str:
    alike = [others for other, others in done if other.id == measure.id]
    told = [
        fact_words(fact, facts[fact.key])
        for fact in measure.facts
        if fact.key in facts and len({o.get(fact.key) for o in alike}) > 1
    ]
    return f"{measure.short} ({', '.join(told)})" if told else measure.short


def _answers(result: Result, about: str) -> list[Reading]:
    """The confirmed fitting limits about one outcome, the best known first."""
    return [
        r
        for r in result.readings
        if r.kind == "cutoff" and r.outcome_type == about and may_lead(r)
        and r.crossed is not None and r.threshold is not None and not sex_guessed(r)
    ]  # fmt: skip


def _side(readings: Sequence[Reading]) -> Side:
    crossed = {bool(r.crossed) for r in readings}
    if len(crossed) > 1:
        return "split"
    return "beyond" if True in crossed else "not"


def _agreement(about: str, done: Iterable[Done]) -> Agreement | None:
    sides: dict[Side, list[str]] = {"beyond": [], "not": [], "split": []}
    near = []
    for one in done:
        answers = _answers(one.result, about) if one.result else []
        if not answers:
            continue
        sides[_side(answers)].append(one.name)
        if any(r.near_edge for r in answers):
            near.append(one.name)
    beyond, others, split = (tuple(names) for names in sides.values())
    if not (beyond or others or split):
        return None
    says = " ".join(_says(ABOUT[about], beyond, others, split, near))
    return Agreement(about, beyond, others, split, tuple(near), says)


def _says(
    about: str,
    beyond: Sequence[str],
    others: Sequence[str],
    split: Sequence[str],
    near: Sequence[str],
) -> Iterator[str]:
    count = len(beyond) + len(others)
    names = _and((*beyond, *others)) if count else ""
    if not count:
        yield f"{about}: no clear answer."
    elif count == 1:
        side = "beyond" if beyond else "not beyond"
        yield f"{about}: one result speaks of it, {side} its limit: {names}."
    elif not others:
        all_ = "both" if count == 2 else f"all {count}"
        yield f"{about}: {all_} results lie beyond their limits: {names}."
    elif not beyond:
        none = "neither result" if count == 2 else f"none of {count} results"
        yield f"{about}: {none} lies beyond its limit: {names}."
    else:
        yield f"{about}: {_some(beyond, others, count)}"
    if split:
        takes = "takes" if len(split) == 1 else "take"
        yield f"Sources disagree within {_and(split)}, which {takes} no side here."
    if near:
        yield f"Close to a limit, and could fall either side another day: {_and(near)}."


def _some(beyond: Sequence[str], others: Sequence[str], count: int) -> str:
    """`3 of 4 results lie beyond their limits (...); 1 does not (...).`"""
    lie = "lies beyond its limit" if len(beyond) == 1 else "lie beyond their limits"
    does = "does" if len(others) == 1 else "do"
    return (
        f"{len(beyond)} of {count} results {lie} ({_and(beyond)}); {len(others)} "
        f"{does} not ({_and(others)})."
    )


def _and(names: Sequence[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _unread(done: Iterable[Done]) -> Iterator[Unread]:
    found = [_why_unread(one) for one in done]
    told = [unread for unread in found if unread is not None]
    yield from sorted(told, key=lambda u: _UNREAD.index(u.outcome))


def _why_unread(one: Done) -> Unread | None:
    if one.result is None:
        return Unread(one.name, "begun", f"Not finished. {one.missing}")
    score, lead = one.result.score, one.result.leading
    if score.outcome == "completed":
        return None if lead else Unread(one.name, "completed", _no_lead(one.result))
    reason = UNABLE_REASONS.get(score.reason, score.reason)
    why = OUTCOMES[score.outcome].capitalize() + (f": {reason}." if reason else ".")
    return Unread(one.name, score.outcome, f"{why} {lead.says}" if lead else why)


def _no_lead(result: Result) -> str:
    """Why none leads; a line of a rule or a diagnosis that is crossed is said."""
    crossed = [
        r
        for r in result.readings
        if r.kind == "cutoff" and r.matched and r.confirmed and r.crossed
        and not r.no_verdict
    ]  # fmt: skip
    # What lies beside the score explains it; the line the score itself crosses is it.
    crossed.sort(key=lambda r: r.row is None or r.row.fit.quantity != "score")
    return " ".join([result.no_lead_because, *(r.says for r in crossed[:1])])


def _averages(done: Iterable[Done]) -> Iterator[str]:
    """Tests that are read, but of nothing the answers above are about."""
    names = [
        one.name
        for one in done
        if one.result and one.result.score.outcome == "completed"
        and one.result.leading and not any(_answers(one.result, a) for a in ABOUT)
    ]  # fmt: skip
    if names:
        yield (
            f"Set beside an average or a place in a sample only: {_and(names)}. That "
            "is no answer about falls, function or help."
        )


def _made_with(done: Sequence[Done]) -> Iterator[str]:
    """A test computed with others of the visit is no second opinion."""
    for one in done:
        if one.result is None or one.result.score.value is None:
            continue
        parts = {
            other.name: None for other in done
            if other.measure.id in one.measure.made_from and other.result
        }  # fmt: skip
        if parts:
            yield (
                f"{one.name} is computed with {_and(list(parts))}: where they agree, "
                "that is one finding, not two."
            )


def _in_several_set_ups(done: Sequence[Done]) -> Iterator[str]:
    """One test in two set-ups gives two results of one kind."""
    read = [one.measure.short for one in done if one.result and one.result.leading]
    for name in dict.fromkeys(read):
        if read.count(name) > 1:
            yield (
                f"{name} was done in {read.count(name)} set-ups and stands here for "
                "each: that is one test, not a second opinion."
            )


def _cannot_say(agreements: Sequence[Agreement], person: Person) -> Iterator[str]:
    yield NOT_ADDED
    if agreements:
        yield NOT_ALIKE
    if any(a.outcome_type == "falls" for a in agreements):
        history = person.facts.get("fall_history", "none")
        fell = PERSON_FACTS["fall_history"][history]
        yield NO_CLEARANCE if history == "none" else f"{NO_CLEARANCE} Here: {fell}."
    yield JUDGEMENT
