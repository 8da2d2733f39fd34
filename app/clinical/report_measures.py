"""A test over a period or an episode: start, last and now of what compares.

A verdict is that of `change.judge_change` and no other. Results in another set-up are
told with what differs, and get none.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from app.clinical.change import Change, judge_change
from app.clinical.course import maintained
from app.clinical.days import full_day
from app.clinical.measure import Measure
from app.clinical.measure_line import MeasureLine, measure_line
from app.clinical.note import Line, Ref
from app.clinical.note_words import sentence, spelled
from app.clinical.person import Person
from app.clinical.quantities import words
from app.clinical.reading import read
from app.clinical.report import CareFacts, GoalFacts, MeasureFacts, Tried
from app.clinical.report_goals import shown_goals
from app.clinical.scores import Score
from app.clinical.setup import HowDone, what_differs
from app.clinical.vocabulary import OUTCOMES, UNABLE_REASONS

PersonOn = Callable[[date], Person]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One test in one set-up. `start` is None where `now` is the first of it.

    `last` is that of the last report, else the one before `now`; None where that is
    the start itself. `other` is the episode's first result where its set-up differs.
    """

    measure: Measure
    start: Tried | None
    last: Tried | None
    now: Tried
    since_start: Change | None
    since_last: Change | None
    in_period: bool
    other: Tried | None = None
    differs: tuple[str, ...] = ()

    @property
    def shown(self) -> tuple[Tried, ...]:
        """What the line names, oldest first."""
        found = (self.other, self.start, self.last, self.now)
        return tuple(one for one in found if one is not None)

    @property
    def refs(self) -> tuple[Ref, ...]:
        return tuple(Ref("round", one.round_id) for one in self.shown)


def value_words(measure: Measure, score: Score) -> str:
    """`18.4 s`, `12 stands`, `a fall of 24 mmHg`, `unable: pain`."""
    value = score.shown
    if value is None:
        reason = UNABLE_REASONS.get(score.reason, score.reason)
        return OUTCOMES[score.outcome] + (f": {reason}" if reason else "")
    said = f"{words(value, score.unit)} {measure.noun(value)}".strip()
    if measure.kind == "pressure":
        return f"a fall of {said}" if score.value else f"{said}, no fall"
    return said


def of_period(facts: CareFacts) -> Iterator[Compared]:
    """Each test as it is done now: those tried in the period, else the newest.

    A set-up that another one followed is told beside it, without a verdict.
    """
    for test in facts.measures:
        found = _newest_first(_chains(test.measure, _tracks(test)))
        here = [chain for chain in found if facts.holds(chain[-1][-1].day)]
        for chain in here or found[:1]:
            other = chain[0][0] if len(chain) > 1 else None
            yield _compared(facts, test.measure, chain[-1], other)


def _newest_first(chains: list[list[Sequence[Tried]]]) -> list[list[Sequence[Tried]]]:
    def newest(chain: list[Sequence[Tried]]) -> tuple[date, int]:
        return chain[-1][-1].day, chain[-1][-1].round_id

    return sorted(chains, key=newest, reverse=True)


def measure_lines(facts: CareFacts, *, whole: bool = False) -> Iterator[Line]:
    """Each test from its start to now, or to the end of a `whole` episode.

    Of a test with several set-ups side by side the first has the plain key.
    """
    keys: set[str] = set()
    for row in of_episode(facts) if whole else of_period(facts):
        key = f"measure-{row.measure.id}"
        if key in keys:
            key += f"-{row.shown[0].round_id}"
        keys.add(key)
        goals = [
            goal
            for goal in shown_goals(facts, whole=whole)
            if goal.measure == row.measure.id
        ]
        say = episode_words if whole else period_words
        refs = (*row.refs, *(Ref("goal", goal.id) for goal in goals))
        yield Line(key, "objective", say(facts, row, _link(goals)), refs)


def _link(goals: Sequence[GoalFacts]) -> str:
    """`goal 1`, `goals 1 and 3`: what a test is measured for."""
    if not goals:
        return ""
    *first, last = [str(goal.number) for goal in goals]
    return f"goals {', '.join(first)} and {last}" if first else f"goal {last}"


def without_result(facts: CareFacts, *, whole: bool = False) -> Iterator[Line]:
    """Attempts that gave no result, and why: an absent number is a finding."""
    for test in facts.measures:
        for one in test.without:
            if whole or facts.holds(one.day):
                said = f"{test.measure.name}, {_on(test.measure, one)}"
                refs = (Ref("round", one.round_id),)
                key = f"no_result-{one.round_id}"
                yield Line(key, "objective", sentence(spelled(said)), refs)


def _tracks(test: MeasureFacts) -> list[list[Tried]]:
    """Results that compare with each other, oldest first; the newest track first."""
    found: list[list[Tried]] = []
    for one in reversed(test.tried):
        track = next((t for t in found if not _differs(test.measure, one, t[-1])), None)
        if track is None:
            found.append([one])
        else:
            track.insert(0, one)
    return found


def _differs(measure: Measure, then: Tried, now: Tried) -> tuple[str, ...]:
    a, b = then.kept.score, now.kept.score
    how = HowDone(b.variant, b.facts), HowDone(a.variant, a.facts)
    return tuple(what_differs(measure, *how))


def _compared(
    facts: CareFacts, measure: Measure, track: Sequence[Tried], other: Tried | None
) -> Compared:
    now, first = track[-1], track[0]
    # Rounds of one day are no change.
    start = first if first.day < now.day else None
    last = _last(facts, track) if start else None
    if last is not None and last.day == first.day:
        last = None
    return Compared(
        measure=measure, start=start, last=last, now=now,
        since_start=_change(measure, facts.person_on, start, now),
        since_last=_change(measure, facts.person_on, last, now),
        in_period=facts.holds(now.day),
        other=other,
        differs=_differs(measure, other, now) if other else (),
    )  # fmt: skip


def _last(facts: CareFacts, track: Sequence[Tried]) -> Tried | None:
    """What the last report had; without a report, the result before the newest."""
    now = track[-1]
    if facts.last_report_on is None:
        before = [one for one in track if one.day < now.day]
    elif facts.holds(now.day):
        before = [one for one in track if not facts.holds(one.day)]
    else:
        before = []
    return before[-1] if before else None


def _change(
    measure: Measure, person_on: PersonOn, then: Tried | None, now: Tried
) -> Change | None:
    if then is None:
        return None
    return judge_change(
        measure, person_on(now.day), now.kept.score, then.kept.score,
        other_rater=then.kept.rater != now.kept.rater,
    )  # fmt: skip


def period_words(facts: CareFacts, row: Compared, link: str = "") -> str:
    """`Five times sit to stand: ... Start, 3 Jun 2026: 19.4 s. Now, ...`."""
    line = _line(facts, row, link)
    said = [_test(row), *_told(row, line)]
    if not row.in_period:
        said.append("Not measured in this period.")
        return " ".join(said)
    if row.since_start is not None:
        said.append(line.parts[3])
    if row.last is not None and row.since_last is not None:
        said.append(against(row.last.day, row.since_last))
    said += [
        maintained(facts.plan, row.since_start), line.parts[2], line.parts[4],
        _elsewhere(row),
    ]  # fmt: skip
    return " ".join(part for part in said if part)


def against(day: date, change: Change) -> str:
    """`Against 3 Jun 2026: within measurement error since 18.0 s: ...`."""
    return f"Against {full_day(day)}: {change.says[:1].lower()}{change.says[1:]}"


def _line(facts: CareFacts, row: Compared, link: str) -> MeasureLine:
    """The newest result as any note has it, its change told from the start."""
    start = row.start
    result = read(
        row.measure, row.now.kept.score, facts.person_on(row.now.day),
        before=start.kept.score if start else None,
        other_rater=bool(start and start.kept.rater != row.now.kept.rater),
    )  # fmt: skip
    return measure_line(
        result, setup=row.now.setup, before_on=start.day if start else None, link=link
    )


def _test(row: Compared) -> str:
    """The test and how the newest was done, which holds for all that compares."""
    name, setup = row.measure.name, row.now.setup
    return sentence(spelled(f"{name}: {setup}" if setup else name))


def _newest(line: MeasureLine) -> str:
    """The value within a sentence."""
    return f"{line.parts[1][:1].lower()}{line.parts[1][1:]}"


def _told(row: Compared, line: MeasureLine) -> Iterator[str]:
    for name, one in (("Start", row.start), ("Last", row.last)):
        if one is not None:
            yield sentence(f"{name}, {_on(row.measure, one)}")
    name = "Now" if row.in_period else "Newest"
    first = "" if row.start else ", the first in this set-up"
    yield f"{name}, {full_day(row.now.day)}{first}: {_newest(line)}"


def _on(measure: Measure, one: Tried) -> str:
    return f"{full_day(one.day)}: {value_words(measure, one.kept.score)}"


def _elsewhere(row: Compared) -> str:
    if row.other is None:
        return ""
    return (
        f"In another set-up, {_on(row.measure, row.other)}; no verdict, since it "
        f"differs: {'; '.join(row.differs)}."
    )


def of_episode(facts: CareFacts) -> Iterator[Compared]:
    """Each test at its start and its end. Where their set-up differs, no verdict."""
    for test in facts.measures:
        for chain in _chains(test.measure, _tracks(test)):
            first, end = chain[0], chain[-1]
            if len(chain) == 1:
                row = _compared(facts, test.measure, end, None)
                yield _without_last(row)
            else:
                yield Compared(
                    measure=test.measure, start=None, last=None, now=end[-1],
                    since_start=None, since_last=None, in_period=True, other=first[0],
                    differs=_differs(test.measure, first[0], end[-1]),
                )  # fmt: skip


def _without_last(row: Compared) -> Compared:
    return Compared(
        measure=row.measure, start=row.start, last=None, now=row.now,
        since_start=row.since_start, since_last=None, in_period=True,
    )  # fmt: skip


def _chains(
    measure: Measure, tracks: Sequence[Sequence[Tried]]
) -> list[list[Sequence[Tried]]]:
    """Set-ups that followed each other make one course, those side by side do not.

    A side never follows the other one.
    """
    chains: list[list[Sequence[Tried]]] = []
    for track in sorted(tracks, key=lambda t: (t[0].day, t[0].round_id)):
        for chain in chains:
            end = chain[-1]
            follows = end[-1].day < track[0].day
            if follows and _side(measure, end[-1]) == _side(measure, track[0]):
                chain.append(track)
                break
        else:
            chains.append([track])
    return chains


def _side(measure: Measure, one: Tried) -> str:
    """The side that was tested, where the test has two."""
    for fact in measure.facts:
        if fact.main and set(fact.options) == {"left", "right"}:
            return one.kept.score.facts.get(fact.key, "")
    return ""


def episode_words(facts: CareFacts, row: Compared, link: str = "") -> str:
    """`Five times sit to stand: ... Start, 3 Jun 2026: 19.4 s. End, ...`."""
    line = _line(facts, row, link)
    said = [_test(row)]
    if row.start is not None:
        said.append(sentence(f"Start, {_on(row.measure, row.start)}"))
    if row.other is not None:
        said.append(sentence(f"Start, {_on(row.measure, row.other)}"))
    once = row.start is None and row.other is None
    name = "Measured once" if once else "End"
    said.append(f"{name}, {full_day(row.now.day)}: {_newest(line)}")
    if row.differs:
        said.append(f"No verdict: the set-up differs, {'; '.join(row.differs)}.")
    if row.since_start is not None:
        said += [line.parts[3], maintained(facts.plan, row.since_start)]
    return " ".join(part for part in (*said, line.parts[2], line.parts[4]) if part)
