"""`tapeline doctor`: looks a site over and says what is amiss; it repairs nothing.

Only `--rebuild` writes, and only derived scores, which are a cache of the trials.
"""

import argparse
import json
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final, Literal

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from sqlmodel import col, select

from app.catalogue.load import catalogue
from app.commands.doctor_checks import CHECKS, Amiss, Check, Examined
from app.commands.opening import (
    add_data_option,
    refuse_unless_there,
    settings_from,
    told_plainly,
)
from app.commands.progress import Progress
from app.settings import Settings
from app.storage.checkup import looking_engine
from app.storage.database import make_engine, read_session, write_session
from app.storage.errors import StorageProblem
from app.storage.patients import Patient
from app.web.owing import rebuild_owed
from app.web.rejudging import keep_all

State = Literal["sound", "warning", "broken", "not checked"]

#: What a rebuild mends, and what does not matter to it.
REBUILT: Final = ("scores", "owed", "folder", "backups", "copies", "lock")
#: So many lines of one check are printed; JSON holds them all.
MOST_LINES: Final = 20
#: Patients whose scores are written in one transaction.
BATCH: Final = 50


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one check found."""

    check: Check
    state: State
    amiss: tuple[Amiss, ...] = ()


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "doctor",
        help="look a site over: file, audit trail, scores; changes nothing by itself",
        epilog="Exit code 0: sound, perhaps with warnings; 1: something is broken; "
        "2: bad input.\n\nexample:\n  tapeline doctor --data ~/tapeline --json",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("--json", action="store_true")
    p.add_argument(
        "--rebuild",
        action="store_true",
        help="write scores and what is owed anew, where they are not as they should",
    )
    add_data_option(p, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    p.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    settings = settings_from(given)
    refuse_unless_there(settings)
    outcomes = examined(settings)
    if given.rebuild:
        _rebuild(settings, outcomes)
        outcomes = examined(settings)
    print(_as_json(outcomes) if given.json else as_text(outcomes))
    return 0 if all(o.state != "broken" for o in outcomes) else 1


def examined(settings: Settings) -> list[Outcome]:
    """What every check finds."""
    with told_plainly():
        site = Examined(settings, looking_engine(settings.database), catalogue())
    outcomes: list[Outcome] = []
    for check in CHECKS:
        readable = all(o.state == "sound" for o in outcomes if o.check.word == "schema")
        unread = check.of_rows and not readable
        outcomes.append(Outcome(check, "not checked") if unread else _look(check, site))
    site.engine.dispose()
    return outcomes


def _look(check: Check, site: Examined) -> Outcome:
    """One check; what the database itself refuses to tell is broken too."""
    found: list[Amiss] = []
    try:
        found.extend(check.look(site))
    except DBAPIError as fault:
        why = str(fault.orig).partition("\n")[0]
        found.append(Amiss("broken", f"the database cannot be read: {why}"))
    except StorageProblem as problem:
        found.append(Amiss("broken", problem.sentence))
    levels = {amiss.level for amiss in found}
    worst: State = "warning" if "warning" in levels else "sound"
    state: State = "broken" if "broken" in levels else worst
    return Outcome(check, state, tuple(found))


def _rebuild(settings: Settings, outcomes: list[Outcome]) -> None:
    """Write scores anew, patient by patient, where the rest of the site is sound."""
    before = [o for o in outcomes if o.check.word not in REBUILT]
    unfit = [o.check.name for o in before if o.state != "sound"]
    if unfit:
        print(f"Nothing was rebuilt: {', '.join(unfit)} first.", file=sys.stderr)
        return
    with told_plainly():
        engine = make_engine(settings.database)
        with read_session(engine) as session:
            ids = session.exec(select(Patient.id).order_by(col(Patient.id))).all()
        progress, changed = Progress("rebuilding scores, patients"), 0
        for start in range(0, len(ids), BATCH):
            batch = ids[start : start + BATCH]
            with write_session(engine) as session:
                for patient_id in batch:
                    patient = session.get_one(Patient, patient_id)
                    now = datetime.now(UTC)
                    changed += keep_all(session, catalogue(), patient, now=now)
            progress(start + len(batch), len(ids))
        progress.over()
        _rebuild_owed(engine, settings)
        engine.dispose()
    print(f"Scores written anew: {changed}.", file=sys.stderr)


def _rebuild_owed(engine: Engine, settings: Settings) -> None:
    """After the scores, which it is made from."""
    progress, today = Progress("what is owed, patients"), datetime.now(settings.zone)
    rebuild_owed(engine, catalogue(), settings.clocks, today.date(), progress)
    progress.over()


def as_text(outcomes: list[Outcome]) -> str:
    lines = []
    for outcome in outcomes:
        lines.append(f"{outcome.check.name:26} {outcome.state}")
        lines += [f"  {amiss.says}" for amiss in outcome.amiss[:MOST_LINES]]
        more = len(outcome.amiss) - MOST_LINES
        if more > 0:
            lines.append(f"  and {more} more")
    return "\n".join(lines)


def _as_json(outcomes: list[Outcome]) -> str:
    told = {
        "sound": all(o.state != "broken" for o in outcomes),
        "edition": catalogue().edition,
        "checks": [
            {
                "check": o.check.word,
                "state": o.state,
                "amiss": [{"level": a.level, "says": a.says} for a in o.amiss],
            }
            for o in outcomes
        ],
    }
    return json.dumps(told, indent=2)
