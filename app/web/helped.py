"""What a trial keeps of the two phones that timed it, checked and in words.

The phone that saves a trial says who pressed start and stop, and how sure the clocks
are. It stands in the trial's `clocks` under `helped`, since a trial that waited on a
phone arrives after the signals between the phones have gone.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from sqlmodel import Session, col, select

from app.clinical.two_clocks import DOUBTFUL_MS
from app.clinical.two_phones import HELPER, SIDES, pressed_words
from app.storage.people import Person
from app.storage.round_help import phones_of
from app.storage.trials import Round, Trial, TrialBody

HELPED: Final = "helped"
#: Larger numbers are no time of any clock.
MOST_MS: Final = 1e13


def vouched(session: Session, me: Person, round: Round, body: TrialBody) -> TrialBody:
    """The body with what it says of two phones, as far as that can be so.

    Somebody who never held a phone of this round is not said to have pressed; the time
    itself never depends on it.
    """
    said = body.clocks.get(HELPED)
    clocks = {k: v for k, v in body.clocks.items() if k != HELPED}
    kept = _whole(said) if isinstance(said, dict) else None
    if kept and _may_say(session, me, round, kept):
        clocks[HELPED] = kept
    return replace(body, clocks=clocks)


def _whole(said: dict[str, Any]) -> dict[str, Any] | None:
    """Only known keys with values that can be; doubt is judged here, not told."""
    pressed, by = said.get("pressed"), said.get("by")
    if not isinstance(pressed, dict) or not isinstance(by, dict):
        return None
    sides = {k: pressed.get(k) for k in ("start", "stop") if pressed.get(k) in SIDES}
    people = {k: by.get(k) for k in sides if type(by.get(k)) is int}
    if "stop" not in sides or set(people) != set(sides):
        return None
    bound = _milliseconds(said.get("bound_ms"))
    return {
        "pressed": sides,
        "by": people,
        "bound_ms": bound,
        "offset_ms": {
            side: _milliseconds(value)
            for side, value in _pairs(said.get("offset_ms"))
            if side in SIDES
        },
        "doubtful": bound is None or not 0 <= bound <= DOUBTFUL_MS,
    }


def _pairs(said: object) -> Sequence[tuple[object, object]]:
    return list(said.items()) if isinstance(said, dict) else []


def _milliseconds(said: object) -> float | None:
    if isinstance(said, bool) or not isinstance(said, int | float):
        return None
    return round(float(said), 1) if abs(said) < MOST_MS else None


def _may_say(session: Session, me: Person, round: Round, kept: dict[str, Any]) -> bool:
    """Who pressed, and whoever saves, held these phones of this round."""
    pressed, by = kept["pressed"], kept["by"]
    for owner, helper in phones_of(session, round.id):
        held = {"owner": owner, "helper": helper}
        if me.id in (owner, helper) and all(by[k] == held[pressed[k]] for k in pressed):
            return True
    return False


def helped_lines(session: Session, trials: Sequence[Trial]) -> dict[int, str]:
    """By number of trial, who pressed and how sure it is, where two phones timed it."""
    kept = [(t, t.clocks[HELPED]) for t in trials if HELPED in t.clocks]
    if not kept:
        return {}
    people = {by for _, said in kept for by in said["by"].values()}
    wanted = select(Person.id, Person.name).where(col(Person.id).in_(people))
    names = dict(session.exec(wanted).all())
    return {trial.id: _words(trial, said, names) for trial, said in kept}


def _words(trial: Trial, kept: dict[str, Any], names: dict[int, str]) -> str:
    said = pressed_words(kept["pressed"], kept["bound_ms"])
    helpers = {kept["by"][k] for k, side in kept["pressed"].items() if side == HELPER}
    if helpers:
        said += f" ({', '.join(names.get(by, '') for by in sorted(helpers))})"
    if kept["doubtful"]:
        confirmed = trial.clocks.get("confirmed") is True
        said += "; doubtful timing" + (", confirmed" if confirmed else "")
    return said
