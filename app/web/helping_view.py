"""What each of two phones is told of the clock they work together.

Times are said by the clock of the phone that asks; the arithmetic is in
`app/clinical/two_clocks.py`, and the scripts only pass it on.
"""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from sqlmodel import Session, col, select

from app.catalogue.load import Catalogue
from app.clinical.measure import Measure
from app.clinical.two_clocks import DOUBTFUL_MS, Exchange, as_seen_on, offset
from app.clinical.two_phones import HELPER, OWNER, Press, Standing, standing
from app.storage.episodes import Visit
from app.storage.help_offers import open_to_help
from app.storage.people import Person
from app.storage.round_help import RoundHelp, help_on, presses_of
from app.storage.trials import Round, Trial
from app.web.deps import Site, site_of
from app.web.trial_words import trial_words

#: Longer numbers than any clock counts to.
MOST: float = 1e14


@dataclass(frozen=True, slots=True)
class HelpLine:
    """On the page of a round: who helps, or who may be asked to.

    `on`: the owner opened it for a second phone; `asked_by`: the owner, for others.
    """

    on: bool
    may_open: bool
    helper: str
    asked_by: str


@dataclass(frozen=True, slots=True)
class Asking:
    """Which phone asks, and its best exchange with the server."""

    side: str
    person: int
    origin: float
    exchange: Exchange | None
    locked: bool = False

    @property
    def phone(self) -> str:
        return f"{self.side} {self.person}"


def steady_ms() -> float:
    """The server's clock: one for all processes of its machine, and never set."""
    return time.monotonic() * 1000


def scale_ms() -> float:
    """Tells one start of one machine from another: when its steady clock began."""
    return time.time() * 1000 - steady_ms()


def exchange_of(text: str) -> Exchange | None:
    """Five numbers as a phone sends them back, if they can be an exchange."""
    try:
        t0, t1, t2, t3, scale = (float(part) for part in text.split(","))
    except ValueError:
        return None
    can_be = all(math.isfinite(t) and abs(t) < MOST for t in (t0, t1, t2, t3, scale))
    told = Exchange(t0, t1, t2, t3, scale)
    return told if can_be and t3 >= t0 and t2 >= t1 else None


def help_of(
    request: Request, session: Session, round: Round, measure: Measure
) -> HelpLine:
    """The line about a second phone on the page of a round."""
    me: Person = request.state.me
    mine = round.person_id == me.id
    site = site_of(request)
    found = help_on(session, round.id, site.clock())
    if found is None:
        may_open = mine and measure.timed and of_today(session, site, round)
        return HelpLine(False, may_open, "", "")
    asked_by = "" if mine else session.get_one(Person, found.owner_id).name
    return HelpLine(mine, False, _name(session, found.helper_id), asked_by)


def of_today(session: Session, site: Site, round: Round) -> bool:
    """What is timed on another day goes to a round of its own, which no phone helps."""
    today = site.clock().astimezone(site.zone).date()
    return session.get_one(Visit, round.visit_id).local_date == today


def _name(session: Session, person_id: int | None) -> str:
    return session.get_one(Person, person_id).name if person_id else ""


@dataclass(frozen=True, slots=True)
class HelpOffer:
    """A test that a colleague asks a second phone for."""

    round_id: int
    test: str
    owner: str
    joined: bool


def help_offers(
    request: Request, session: Session, patient_id: int
) -> Sequence[HelpOffer]:
    """Tests of this patient that this person may help with."""
    site, me = site_of(request), request.state.me
    return [
        HelpOffer(
            round.id,
            _test(site.catalogue, round),
            _name(session, help.owner_id),
            help.helper_id == me.id,
        )
        for help, round in open_to_help(session, patient_id, site.clock())
        if help.owner_id != me.id and help.helper_id in (None, me.id)
    ]


def _test(shelf: Catalogue, round: Round) -> str:
    known = shelf.measures.get(round.measure)
    return known.name if known else round.measure


def told(
    session: Session, shelf: Catalogue, help: RoundHelp, asking: Asking
) -> dict[str, Any]:
    """How it stands, by the clock of the phone that asks; no names to a lock."""
    trials = _trials(session, help)
    now = standing(presses_of(session, help), trials)
    names = {} if asking.locked else _names(session, help)
    kept = _kept(now, asking)
    stored = _stored(session, shelf, help, trials.get(now.trial))
    return {
        "on": True,
        "helper": names.get(help.helper_id or 0, ""),
        "owner": names.get(help.owner_id, ""),
        "phase": now.phase,
        "trial": now.trial,
        "start": _start(now.start, asking),
        "stop": _stop(now),
        "waits": now.waits_for_owner,
        "late": _late(now, names) if asking.side == HELPER else "",
        "stored": "the trial" if stored and asking.locked else stored,
        "helped": kept,
        "doubt": _doubt(kept),
    }


def _names(session: Session, help: RoundHelp) -> dict[int, str]:
    ids = [id for id in (help.owner_id, help.helper_id) if id is not None]
    people = session.exec(select(Person).where(col(Person.id).in_(ids))).all()
    return {person.id: person.name for person in people}


def _start(start: Press | None, asking: Asking) -> dict[str, Any] | None:
    if start is None:
        return None
    seen = as_seen_on(start.stamp, asking.phone, asking.origin, asking.exchange)
    return {"side": start.side, "mono": seen[0] if seen else None}


def _stop(now: Standing) -> dict[str, Any] | None:
    if now.stop is None:
        return None
    ran = now.ran
    safe = now.stop.kind == "safe"
    return {"side": now.stop.side, "safe": safe, "ran_ms": ran.ms if ran else None}


def _kept(now: Standing, asking: Asking) -> dict[str, Any] | None:
    """What stays with the trial; while it runs, as if the owner stopped it."""
    start, stop = now.start, now.stop
    pressed = {"start": start, "stop": stop}
    sides = {k: p.side for k, p in pressed.items() if p}
    by = {k: p.person for k, p in pressed.items() if p}
    offsets = {p.side: p.stamp.offset for p in (start, stop) if p}
    if stop is None:
        if start is None or start.side == OWNER or asking.side != OWNER:
            return None
        seen = as_seen_on(start.stamp, asking.phone, asking.origin, asking.exchange)
        sides["stop"], by["stop"] = OWNER, asking.person
        offsets[OWNER] = offset(asking.exchange) if asking.exchange else None
        bound = seen[1] if seen else None
    else:
        bound = now.ran.bound if now.ran else None
    if HELPER not in sides.values():
        return None
    ours = {side: round(at.ms, 1) for side, at in offsets.items() if at}
    return {"pressed": sides, "by": by, "bound_ms": bound, "offset_ms": ours}


def _doubt(kept: dict[str, Any] | None) -> str:
    if kept is None or "start" not in kept["pressed"]:
        return ""
    bound = kept["bound_ms"]
    if bound is None and len(set(kept["pressed"].values())) == 1:
        return "Doubtful timing: the phone that timed it may have slept meanwhile."
    if bound is None:
        return "Doubtful timing: the clocks of the two phones could not be compared."
    if bound <= DOUBTFUL_MS:
        return ""
    sure = math.ceil(bound / 10) / 100
    return f"Doubtful timing: the two phones' clocks agree only to +/- {sure:.2f} s."


def _late(now: Standing, names: dict[int, str]) -> str:
    """What became of a press of the helper's that came second."""
    late = now.late
    if late is None:
        return ""
    if late.kind == "start":
        first, done = now.start, "started"
    else:
        first, done = now.ended, "stopped"
        if first is not None and first.trial != late.trial:
            first = None
    if first is None:
        return "Too late: the other phone had gone on."
    if first.side == HELPER:
        return ""
    return f"Already {done} by {names.get(first.person, 'the other phone')}."


def _trials(session: Session, help: RoundHelp) -> dict[str, Trial]:
    """The round's trials by their ids."""
    found = session.exec(select(Trial).where(Trial.round_id == help.round_id))
    return {trial.uid: trial for trial in found}


def _stored(
    session: Session, shelf: Catalogue, help: RoundHelp, found: Trial | None
) -> str:
    """The trial in words, once it is kept; whichever phone sent it."""
    if found is None:
        return ""
    round = session.get_one(Round, help.round_id)
    return trial_words(found, shelf.measures.get(round.measure))
