"""From results, observations and answers to what work they ask for, by stated rules.

`findings` is the only maker of findings; `lines` puts the therapist's own words beside
them. Values in, values out; it judges no score anew and diagnoses nothing.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final, Literal

from app.clinical.assistance import LEVELS
from app.clinical.crossing import (
    NOT_MANAGED,
    ON_RECORD,
    OTHER_LINE,
    REASONED,
    SAID,
    SEEN,
    beyond_says,
    named,
    off_standard,
)
from app.clinical.deficit import (
    WEAK_REASONS,
    Deficits,
    Evidence,
    Finding,
    Origin,
    Rule,
    Scored,
)
from app.clinical.measure import UnableRow
from app.clinical.precautions import PRECAUTIONS
from app.clinical.quantities import shown, words
from app.clinical.scoring import Score, is_zero_by_rule
from app.clinical.screening import QUESTIONS
from app.clinical.setup import fact_words
from app.clinical.visiting import TASKS

State = Literal["found", "added", "struck", "again"]
_LEVELS: Final = tuple(LEVELS)
#: Why it could not be done, as it ends the sentence; what each does not tell.
_UNABLE: Final[Mapping[str, str]] = {
    "physical": "could not be done: not managed physically",
    "hands_on_help": "could not be done without hands-on help",
    "pain": "could not be done because of pain. That tells of pain, not of strength",
    "symptoms": "could not be done because of symptoms. Look at them first: that "
    "tells nothing of strength",
}
Said = tuple[int, str]


def findings(shelf: Deficits, known: Evidence) -> tuple[Finding, ...]:
    """Every rule that the evidence meets, the strongest first.

    Of each test the latest result that tells something, of each task the latest time it
    was done. What was declined, not done or not understood names nothing.
    """
    tests = latest(shelf, known.tests)
    seen = replace(known, tests=tests)
    found = [
        Finding(rule.deficit, _with(rule, said), rule.how, rule.source, weight, origin)
        for rule in shelf.rules
        for (weight, said), origin in _MEETS[rule.kind](rule, seen)
    ]
    return tuple(sorted(found, key=_strongest))


def _with(rule: Rule, said: str) -> str:
    return f"{said} {rule.says}".strip()


def _strongest(finding: Finding) -> tuple[int, int]:
    """By weight, then the newest; the file's order stands for the rest."""
    return finding.weight, -finding.origin.day.toordinal()


def tells(score: Score) -> bool:
    """Whether a result says something of what the person can do.

    A number does, and being unable for a reason of the body; nothing else.
    """
    if score.outcome == "completed":
        return score.value is not None
    return score.outcome == "unable" and score.reason in WEAK_REASONS


def latest(shelf: Deficits, tests: Iterable[Scored]) -> tuple[Scored, ...]:
    """Of each test, and of each side or way of it, the latest result that tells."""
    newest: dict[tuple[str, ...], Scored] = {}
    for tested in tests:
        score = tested.result.score
        apart = shelf.apart.get(score.measure, ())
        kind = (score.measure, *(_usual(tested, key) for key in apart))
        before = newest.get(kind)
        if tells(score) and (before is None or _time(tested) >= _time(before)):
            newest[kind] = replace(tested, apart=apart)
    return tuple(newest.values())


def _time(tested: Scored) -> tuple[int, int, str]:
    kind, key = tested.origin.ref
    return tested.origin.day.toordinal(), int(key) if key.isdigit() else 0, kind


def _usual(tested: Scored, key: str) -> str:
    """A set-up fact as it was stated, else as it usually is."""
    fact = tested.result.measure.fact(key)
    usual = fact.default if fact else None
    return tested.result.score.facts.get(key, usual or "")


def _of(rule: Rule, known: Evidence) -> Iterator[Scored]:
    """Results of the rule's test, done the way the rule asks."""
    for tested in known.tests:
        if tested.result.measure.id == rule.measure and all(
            _usual(tested, key) in wanted for key, wanted in rule.facts.items()
        ):
            yield tested


Met = Iterator[tuple[Said, Origin]]


def _beyond(rule: Rule, known: Evidence) -> Met:
    for tested in _of(rule, known):
        said = beyond_says(rule, tested)
        if said is not None:
            yield said, tested.origin


def _unable(rule: Rule, known: Evidence) -> Met:
    for tested in _of(rule, known):
        score, origin = tested.result.score, tested.origin
        if score.outcome != "unable" or score.reason not in rule.reasons:
            continue
        weak = score.reason in ("physical", "hands_on_help")
        parts = (
            f"{named(tested)} on {origin.said} {_UNABLE[score.reason]}.",
            _published(tested),
            off_standard(tested.result),
        )
        text = " ".join(part for part in parts if part)
        yield (NOT_MANAGED if weak else OTHER_LINE, text), origin


def _published(tested: Scored) -> str:
    """What a source found of people who could not do it."""
    for r in tested.result.readings:
        if isinstance(r.row, UnableRow) and r.matched and r.confirmed:
            short = tested.result.measure.sources[r.row.source].short
            about = f"{r.row.outcome} in {r.row.population}"
            return f"Being unable was linked with {about} ({short})."
    return ""


def _zero(rule: Rule, known: Evidence) -> Met:
    for tested in _of(rule, known):
        measure, score = tested.result.measure, tested.result.score
        if score.outcome != "completed" or score.value != 0:
            continue
        text = f"{named(tested)} on {tested.origin.said}: 0 {measure.noun(0)}."
        if is_zero_by_rule(measure, score):
            text = f"{text[:-1]} by the test's own rule. {score.reason}."
            assert measure.zero is not None
            part = score.parts.get(measure.zero.quantity)
            if part is not None:
                count = words(shown(part.value, part.unit), part.unit)
                text += f" {measure.zero.label}: {count}."
        yield (NOT_MANAGED, text), tested.origin


def _held(rule: Rule, known: Evidence) -> Met:
    """The stage at which the test ended; one that was never reached tells nothing."""
    for tested in _of(rule, known):
        measure, score = tested.result.measure, tested.result.score
        number = next(i for i, s in enumerate(measure.stages) if s.id == rule.stage)
        asked = number < measure.variant(score.variant).of
        if not asked or score.outcome != "completed" or score.value != number:
            continue
        stage, part = measure.stages[number], score.parts.get(rule.stage)
        whole = words(shown(stage.hold, "s"), "s")
        how = f"held {words(shown(part.value, 's'), 's')} of {whole}" if part else ""
        text = f"{named(tested)} on {tested.origin.said}: {stage.label.lower()} "
        text += f"{how or 'could not be taken up'}."
        yield (
            (OTHER_LINE, f"{text} {off_standard(tested.result)}".strip()),
            (tested.origin),
        )


def _setup(rule: Rule, known: Evidence) -> Met:
    for tested in _of(rule, known):
        measure, facts = tested.result.measure, tested.result.score.facts
        if tested.result.score.outcome != "completed" or not set(rule.facts) <= set(
            facts
        ):
            continue
        done = [
            fact_words(fact, facts[fact.key])
            for fact in measure.facts
            if fact.key in rule.facts
        ]
        text = f"{named(tested)} on {tested.origin.said} was done with {done[0]}."
        yield (REASONED, text), tested.origin


def _task(rule: Rule, known: Evidence) -> Met:
    newest: dict[str, tuple[str, Origin]] = {}
    for seen in known.tasks:
        newest[seen.task] = (seen.level, seen.origin)
    for task, (level, origin) in newest.items():
        if task not in rule.tasks:
            continue
        if _LEVELS.index(level) < _LEVELS.index(rule.level):
            continue
        help_ = LEVELS[level]
        what = TASKS[task][:1].upper() + TASKS[task][1:]
        text = f"{what}, on {origin.said}: {help_.words} ({help_.means})."
        yield (SEEN, text), origin


def _precaution(rule: Rule, known: Evidence) -> Met:
    for held in known.precautions:
        if held.tag in rule.tags:
            label = PRECAUTIONS[held.tag].label
            text = f"{label}: a known fact, on record since {held.origin.said}."
            yield (ON_RECORD, text), held.origin


def _answer(rule: Rule, known: Evidence) -> Met:
    if rule.settings and known.setting not in rule.settings:
        return
    for given in known.answers:
        if given.question == rule.question and given.value in rule.values:
            question = QUESTIONS[rule.question]
            told = question.words(given.value)
            text = f"{question.label}: {told} ({given.origin.said})."
            yield (SAID, text), given.origin


_MEETS: Final[Mapping[str, Callable[[Rule, Evidence], Met]]] = {
    "beyond": _beyond,
    "unable": _unable,
    "zero": _zero,
    "held": _held,
    "setup": _setup,
    "task": _task,
    "precaution": _precaution,
    "answer": _answer,
}


@dataclass(frozen=True, slots=True)
class Word:
    """What somebody said of a deficit: `added`, `struck`, or `back` for taken back.

    `said`: who and when, in words.
    """

    deficit: str
    word: str
    reason: str
    said: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Line:
    """One deficit of a person: what names it, and the word that holds of it."""

    deficit: str
    state: State
    found: tuple[Finding, ...]
    word: Word | None = None

    @property
    def holds(self) -> bool:
        return self.state != "struck"

    @property
    def because(self) -> tuple[str, ...]:
        """Every sentence that names it, the strongest first, and who said so."""
        said = [finding.because for finding in self.found]
        if self.word is not None:
            before = ", before this" if self.state == "again" else ""
            word = self.word.word.capitalize()
            said.append(f"{word} by {self.word.said}{before}: {self.word.reason}")
        return tuple(said)


def lines(
    shelf: Deficits, found: Sequence[Finding], said: Iterable[Word]
) -> tuple[Line, ...]:
    """One line for each deficit: those that hold, strongest first, then the struck.

    The latest word of a deficit holds. A strike holds for the evidence there was: what
    was written down after it brings the deficit back.
    """
    word_of: dict[str, Word] = {}
    for word in said:
        word_of[word.deficit] = word
    by_key: dict[str, list[Finding]] = {}
    for finding in found:
        by_key.setdefault(finding.deficit, []).append(finding)
    made = [
        _line(key, tuple(by_key.get(key, ())), word_of.get(key)) for key in shelf.named
    ]
    return tuple(sorted((line for line in made if line), key=_place))


def _line(key: str, found: tuple[Finding, ...], word: Word | None) -> Line | None:
    if word is None or word.word == "back":
        return Line(key, "found", found) if found else None
    if word.word == "added":
        return Line(key, "found" if found else "added", found, word)
    if not found:
        return None  # nothing is left of what was struck
    newer = any(f.origin.at is not None and f.origin.at > word.at for f in found)
    return Line(key, "again" if newer else "struck", found, word)


def _place(line: Line) -> tuple[bool, int]:
    return not line.holds, line.found[0].weight if line.found else OTHER_LINE
