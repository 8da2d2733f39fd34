"""`tapeline people`: who may sign in to a site. The first supervisor is added here."""

import argparse
import getpass
import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from app.access import ROLES
from app.commands.opening import (
    add_data_option,
    refuse_demo_folder,
    refuse_unless_there,
    settings_from,
    told_plainly,
)
from app.commands.refused import Refused
from app.guessing import why_not
from app.settings import Settings
from app.storage import staff
from app.storage.database import make_engine, migrate, read_session, write_session
from app.storage.people import Person, add_person, hash_passphrase

#: A secret and no setting, so it is read here, used once and kept nowhere.
PASSPHRASE = "TAPELINE_PASSPHRASE"
EXAMPLE = """example:
  tapeline people add --handle ward3 --name "Ward three" --role supervisor
  tapeline people list --json"""


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "people",
        help="add who may sign in, and list them",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    deeds = p.add_subparsers(dest="deed", required=True, metavar="DEED")
    _add_options(deeds)
    _list_options(deeds)
    _one_options(deeds, "reset", "print a link to choose a new passphrase", run_reset)
    _one_options(deeds, "deactivate", "end somebody's right to sign in", run_off)


def _add_options(deeds: Any) -> None:
    p: argparse.ArgumentParser = deeds.add_parser(
        "add",
        help="add somebody; asks for their passphrase",
        epilog=f"The passphrase is asked for, or read from {PASSPHRASE}.\n\n"
        'example:\n  tapeline people add --handle ward3 --name "Ward three" '
        "--role supervisor",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("--handle", required=True, metavar="WORD", help="typed to sign in")
    p.add_argument("--name", required=True, metavar="TEXT", help="shown on screens")
    p.add_argument("--role", required=True, choices=list(ROLES))
    add_data_option(p, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    p.set_defaults(run=run_add)


def _list_options(deeds: Any) -> None:
    p: argparse.ArgumentParser = deeds.add_parser(
        "list",
        help="list everybody",
        epilog="example:\n  tapeline people list",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("--json", action="store_true")
    add_data_option(p, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    p.set_defaults(run=run_list)


def _one_options(deeds: Any, deed: str, help: str, run: Any) -> None:
    p: argparse.ArgumentParser = deeds.add_parser(
        deed,
        help=help,
        epilog=f"example:\n  tapeline people {deed} --handle ward3",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("--handle", required=True, metavar="WORD", help="who")
    add_data_option(p, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    p.set_defaults(run=run)


def run_reset(given: argparse.Namespace) -> int:
    """What follows the site's address; the program may run on any."""
    with _on_site(given) as (session, person):
        token = staff.give_link(session, person, now=datetime.now(UTC))
    print(f"Open once, within a day, after the site's address: /join/{token}")
    return 0


def run_off(given: argparse.Namespace) -> int:
    with _on_site(given) as (session, person):
        staff.switch_off_here(session, person, now=datetime.now(UTC))
    print(f"{given.handle} may no longer sign in.")
    return 0


@contextmanager
def _on_site(given: argparse.Namespace) -> Iterator[tuple[Session, Person]]:
    settings = settings_from(given, demo=False)
    refuse_demo_folder(settings)
    refuse_unless_there(settings)
    with told_plainly():
        engine = _opened(settings)
        try:
            with write_session(engine) as session:
                handle = _handle(given.handle)
                wanted = select(Person).where(Person.handle == handle)
                person = session.exec(wanted).first()
                if person is None:
                    raise Refused(f"nobody has the handle {handle!r}")
                yield session, person
        finally:
            engine.dispose()


def run_add(given: argparse.Namespace) -> int:
    settings = settings_from(given, demo=False)
    refuse_demo_folder(settings)
    handle, name = _handle(given.handle), _name(given.name)
    hashed = hash_passphrase(_passphrase((name, handle)))
    with told_plainly():
        engine = _opened(settings)
        with write_session(engine) as session:
            add_person(
                session, handle=handle, name=name, role=given.role,
                passphrase_hash=hashed, now=datetime.now(UTC),
            )  # fmt: skip
        engine.dispose()
    print(f"Added {handle}, {given.role}. They sign in with the passphrase given.")
    return 0


def run_list(given: argparse.Namespace) -> int:
    settings = settings_from(given)
    refuse_unless_there(settings)
    with told_plainly():
        engine = _opened(settings)
        with read_session(engine) as session:
            found = session.exec(select(Person).order_by(col(Person.handle))).all()
        engine.dispose()
    listed = [_described(person) for person in found]
    print(json.dumps(listed, indent=2) if given.json else "\n".join(map(_line, listed)))
    return 0


def _opened(settings: Settings) -> Engine:
    engine = make_engine(settings.database)
    migrate(engine, settings.data_dir / "backups")
    return engine


def _handle(typed: str) -> str:
    handle = typed.strip().lower()
    fits = 1 <= len(handle) <= 60 and len(handle.split()) == 1
    if not fits or not handle.isprintable():
        raise Refused(f"--handle {typed!r}: one word of at most 60 letters")
    return handle


def _name(typed: str) -> str:
    name = typed.strip()
    if not 1 <= len(name) <= 80 or not name.isprintable():
        raise Refused(f"--name {typed!r}: 1 to 80 letters on one line")
    return name


def _passphrase(about: tuple[str, ...]) -> str:
    """From the environment, else typed twice; never an argument, which others see."""
    chosen = os.environ.get(PASSPHRASE)
    if chosen is None:
        chosen = _asked()
    wrong = why_not(chosen, about)
    if wrong:
        raise Refused(f"the passphrase will not do. {wrong}")
    return chosen


def _asked() -> str:
    if not sys.stdin.isatty():
        raise Refused(f"no terminal to ask on: put the passphrase in {PASSPHRASE}")
    try:
        chosen = getpass.getpass("Passphrase (a few words, 15 letters or more): ")
        again = getpass.getpass("The same again: ")
    except EOFError as end:
        raise Refused("no passphrase was given; nobody was added") from end
    if chosen != again:
        raise Refused("the two passphrases differ; nobody was added")
    return chosen


def _described(person: Person) -> dict[str, Any]:
    seen = person.last_seen_at
    return {
        "handle": person.handle,
        "name": person.name,
        "role": person.role,
        "active": person.active,
        "last_seen": seen.isoformat(timespec="minutes") if seen else None,
    }


def _line(person: dict[str, Any]) -> str:
    state = "" if person["active"] else "  (may not sign in)"
    return f"{person['handle']:20} {person['role']:12} {person['name']}{state}"
