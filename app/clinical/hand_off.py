"""A hand-off of 30 seconds: what the next person must know, made from events alone.

Situation, background, what I found, what I ask (common practice; a public-domain
structure). Lines of safety come first and are never cut; of the others the least
urgent go until the rest can be read aloud in time. What no event says is an empty line
with a question. Nothing here is an order.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from app.clinical.assistance import ALONE, LEVELS
from app.clinical.hand_off_facts import (
    Fact,
    HandOffFacts,
    InForce,
    Move,
    spoken_task,
)
from app.clinical.home_sheet import CALL_NOW, CALL_US
from app.clinical.note import Ref
from app.clinical.visiting import NOT_DONE
from app.clinical.vocabulary import closed

AUDIENCES: Final = closed(
    nursing="nursing",
    therapist="next therapist",
    practitioner="physician or practitioner",
    family="family or home helper",
)
#: The roles of the exit list that a hand-off of each kind may go to.
GIVEN_TO: Final = {
    "nursing": ("nurse", "aide", "other"),
    "therapist": ("therapist", "other"),
    "practitioner": ("physician", "other"),
    "family": ("family", "other"),
}
PARTS: Final = closed(
    situation="Situation",
    background="Background",
    found="What I found",
    ask="What I ask",
)
#: Words a minute of somebody reading aloud. Common practice.
WORDS_A_MINUTE: Final = 150
MOST_SECONDS: Final = 30
MOST_LETTERS: Final = 500
#: Never cut. The larger the number, the sooner a line goes.
SAFETY: Final = 0
#: How a task is done, as somebody without training says it. Common practice.
_PLAIN: Final = closed(
    independent="alone",
    modified="alone, taking their time",
    set_up="alone, once things are laid out",
    supervision="with somebody watching",
    stand_by="with somebody in reach",
    contact="with a hand on them",
    minimal="with a little help",
    moderate="with help for about half of it",
    maximal="with help for most of it",
    total="by helpers",
)
_TOLD_FIRST: Final = 2
#: Reasons of a task not done that others must mind as well.
_UNSAFE: Final = (
    "pressure", "breathless", "hold", "unsafe", "staff", "cognition", "weight_bearing",
)  # fmt: skip
_SPOKEN: Final = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*|\d+(?:[.,]\d+)?|%|°")


@dataclass(frozen=True, slots=True)
class HandOffLine:
    """One line. Without `says` it is empty and `asks` what belongs there."""

    key: str
    part: str
    says: str = ""
    priority: int = SAFETY
    refs: tuple[Ref, ...] = ()
    asks: str = ""

    @property
    def is_safety(self) -> bool:
        return self.priority == SAFETY and bool(self.says)


@dataclass(frozen=True, slots=True)
class Card:
    """What is read aloud, what was left out for the time, and how long it takes."""

    lines: tuple[HandOffLine, ...]
    left_out: tuple[HandOffLine, ...]
    seconds: int


def hand_off(facts: HandOffFacts, to: str) -> tuple[HandOffLine, ...]:
    """Every line for one audience in the order of the parts; nothing is cut yet."""
    lines = {
        "nursing": _nursing,
        "therapist": _therapist,
        "practitioner": _practitioner,
        "family": _family,
    }[to](facts)
    order = list(PARTS)
    return tuple(sorted(lines, key=lambda line: order.index(line.part)))


def card(lines: Sequence[HandOffLine], most: int = MOST_SECONDS) -> Card:
    """What can be said in the time. Within one priority the later line goes first."""
    kept = list(lines)
    while seconds_of(kept) > most:
        may_go = [line for line in kept if line.says and not line.is_safety]
        if not may_go:
            break
        least = max(line.priority for line in may_go)
        kept.remove([line for line in may_go if line.priority == least][-1])
    left_out = tuple(line for line in lines if line not in kept)
    return Card(tuple(kept), left_out, seconds_of(kept))


def seconds_of(lines: Sequence[HandOffLine]) -> int:
    return spoken_seconds([line.says for line in lines])


def spoken_seconds(texts: Sequence[str]) -> int:
    """About how long these take aloud, whole seconds rounded up.

    >>> spoken_seconds(["Blood pressure 118/70."]), spoken_seconds([])
    (2, 0)
    """
    words = sum(len(_SPOKEN.findall(text)) for text in texts)
    return -(-words * 60 // WORDS_A_MINUTE)


def _nursing(facts: HandOffFacts) -> list[HandOffLine]:
    return [
        *_moving(facts),
        *_orders(facts),
        *_risks(facts, 2),
        *_trouble(facts),
        *_one("left", "found", facts.left, 1),
        *_one("up", "found", facts.last_up, 1),
        *_many("taught", "found", facts.shown_back, 3),
        _blank("before", "ask", "What should be done before the next session?"),
        _blank("worry", "ask", "What worries you?"),
    ]


def _therapist(facts: HandOffFacts) -> list[HandOffLine]:
    return [
        *_reason(facts, 2),
        *_moving(facts),
        *_orders(facts),
        *_risks(facts, 2),
        *_trouble(facts),
        *_many("score", "found", facts.scores, 1),
        *_many("dose", "found", facts.doses, 2),
        *_many("cue", "found", facts.cues, 1),
        *_not_done(facts, 3),
        *_many("goal", "found", facts.goals, 3),
        *_many("room", "found", facts.rooms, 4),
        *_one("left", "found", facts.left, 4),
        _blank("next", "ask", "What would you do next?"),
        _blank("split", "ask", "Who does what from here?"),
    ]


def _practitioner(facts: HandOffFacts) -> list[HandOffLine]:
    orders = "; ".join(p.label for p in facts.in_force if p.is_order)
    said = [Fact(f"Orders in force: {orders}.")] if orders else []
    return [
        *_reason(facts, 1),
        *_moving(facts, 1),
        *_many("orders", "background", said, 1),
        *_trouble(facts),
        *_many("score", "found", facts.scores, 2),
        _blank("question", "ask", "What do you ask?"),
        _blank("by_when", "ask", "What answer do you want, and by when?"),
    ]


def _family(facts: HandOffFacts) -> list[HandOffLine]:
    """Plain words: what is safe, what is not, when to stop, what to say."""
    stop, signs = CALL_NOW
    call, others = CALL_US
    sheet = ", ".join(facts.sheet)
    return [
        *_family_tasks(facts),
        *(
            _line(f"order-{p.id}", "background", p.meaning, SAFETY, _ref(p))
            for p in facts.in_force
            if p.is_order
        ),
        *(
            _line(f"risk-{p.id}", "background", p.meaning, _weight(p, 2), _ref(p))
            for p in facts.in_force
            if not p.is_order
        ),
        *_many("shown", "found", facts.shown_back, 3),
        *([_line("sheet", "ask", f"Do with them what is on the sheet: {sheet}.", 1)]
          if sheet else []),
        *_help_words(facts),
        _line("stop", "ask", f"{stop} {', '.join(signs)}.", SAFETY),
        _line("call", "ask", f"{call} {', '.join(others)}.", 4),
        _blank("whom", "ask", "Whom do they call? A role; say the number aloud."),
    ]  # fmt: skip


def _help_words(facts: HandOffFacts) -> list[HandOffLine]:
    if facts.help_words is None:
        return [_blank("words", "ask", "Which words help? Say them exactly.")]
    return _one("words", "ask", facts.help_words, 1)


def _family_tasks(facts: HandOffFacts) -> Iterator[HandOffLine]:
    """Who needs somebody for what is told before what is safe alone."""
    helped = [m for m in facts.moves if m.level and not _is_alone(m)]
    alone = [m for m in facts.moves if m.level and _is_alone(m)]
    first, rest = helped[:_TOLD_FIRST], helped[_TOLD_FIRST:]
    for key, moves, lead, priority in (
        ("never", first, "Never alone", SAFETY),
        ("never-more", rest, "Not alone either", SAFETY),
        ("safe", alone, "Safe", 1),
    ):
        if moves:
            says = f"{lead}: {'; '.join(map(_plain_move, moves))}."
            yield _line(key, "situation", says, priority, *map(_task_ref, moves))
    for move in facts.moves:
        if move.not_done in _UNSAFE:
            says = f"Do not try yet: {_task(move)}."
            key = f"not-{move.task}"
            yield _line(key, "situation", says, SAFETY, _task_ref(move))


def _is_alone(move: Move) -> bool:
    return move.level in (*ALONE, "set_up") and move.helpers == 0


def _plain_move(move: Move) -> str:
    people = f", {_people(move.helpers)}" if move.helpers > 1 else ""
    device = f", {move.device}" if move.device else ""
    return f"{_task(move)}, {_PLAIN[move.level or 'total']}{people}{device}"


def _people(number: int) -> str:
    named = ("nobody", "one person", "two people", "three people", "four people")
    return named[number]


def _moving(facts: HandOffFacts, priority: int = SAFETY) -> Iterator[HandOffLine]:
    """The two moves that matter most, then the others; nothing recorded is asked."""
    told = [m for m in facts.moves if m.level]
    if not told:
        asks = "How do they move now: help, how many people, device?"
        yield _blank("moves", "situation", asks)
        return
    first, rest = told[:_TOLD_FIRST], told[_TOLD_FIRST:]
    says = f"{'; '.join(map(_move, first))}."
    yield _line("moves", "situation", _upper(says), priority, *map(_task_ref, first))
    if rest:
        says = f"Also {'; '.join(map(_move, rest))}."
        yield _line("moves-more", "situation", says, 3, *map(_task_ref, rest))


def _task(move: Move) -> str:
    return spoken_task(move.task)


def _move(move: Move) -> str:
    """`chair transfer: minimal help, one person, walker`."""
    level = LEVELS[move.level or "total"]
    words = f"{level.words} help" if level.share else level.words
    people = _people(move.helpers) if move.helpers else ""
    parts = [part for part in (words, people, move.device) if part]
    return f"{_task(move)}: {', '.join(parts)}"


def _orders(facts: HandOffFacts) -> Iterator[HandOffLine]:
    for order in facts.in_force:
        if order.is_order:
            until = f", {order.until}" if order.until else ""
            says = f"{order.label}{until}."
            yield _line(f"order-{order.id}", "background", says, SAFETY, _ref(order))


def _risks(facts: HandOffFacts, priority: int) -> Iterator[HandOffLine]:
    for risk in facts.in_force:
        if not risk.is_order:
            key, weight = f"risk-{risk.id}", _weight(risk, priority)
            yield _line(key, "background", f"Mind: {risk.label}.", weight, _ref(risk))


def _weight(risk: InForce, usual: int) -> int:
    return SAFETY if risk.hurts_next_rise else usual


def _trouble(facts: HandOffFacts) -> Iterator[HandOffLine]:
    """Stops, vital signs outside an order's limits, symptoms told and come on."""
    yield from _many("stop", "found", facts.stops, SAFETY)
    yield from _many("outside", "found", facts.outside, SAFETY)
    yield from _one("symptoms", "found", facts.symptoms, SAFETY)
    yield from _many("felt", "found", facts.felt, SAFETY)


def _not_done(facts: HandOffFacts, priority: int) -> Iterator[HandOffLine]:
    for move in facts.moves:
        if move.not_done:
            says = f"Not done: {_task(move)}, {NOT_DONE[move.not_done]}."
            key = f"not-{move.task}"
            yield _line(key, "found", says, priority, _task_ref(move))


def _reason(facts: HandOffFacts, priority: int) -> list[HandOffLine]:
    if not facts.reason:
        return []
    says = f"Seen because: {facts.reason.rstrip('.')}."
    return [_line("reason", "background", says, priority)]


def _many(
    key: str, part: str, facts: Sequence[Fact], priority: int
) -> Iterator[HandOffLine]:
    for number, fact in enumerate(facts, 1):
        refs = (fact.ref,) if fact.ref else ()
        yield _line(f"{key}-{number}", part, fact.says, priority, *refs)


def _one(key: str, part: str, fact: Fact | None, priority: int) -> list[HandOffLine]:
    if fact is None:
        return []
    return [_line(key, part, fact.says, priority, *((fact.ref,) if fact.ref else ()))]


def _line(key: str, part: str, says: str, priority: int, *refs: Ref) -> HandOffLine:
    return HandOffLine(key, part, says, priority, refs)


def _blank(key: str, part: str, asks: str) -> HandOffLine:
    return HandOffLine(key, part, asks=asks)


def _ref(precaution: InForce) -> Ref:
    return Ref("precaution", precaution.id)


def _task_ref(move: Move) -> Ref:
    return Ref("task", move.id)


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
