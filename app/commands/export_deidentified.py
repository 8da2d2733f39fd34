"""`tapeline export --deidentified FILE.zip`: tests and treatment, nobody named."""

import argparse
import sys
from pathlib import Path
from typing import Any, Final

from app.catalogue.load import catalogue
from app.commands.demo_folder import is_demo_folder
from app.commands.opening import did, opened_site, settings_from
from app.commands.progress import Progress
from app.commands.refused import Refused
from app.commands.saving import save
from app.storage.database import read_session, write_session
from app.web.archive import archived
from app.web.deidentifying import Deidentifying
from app.web.released import left_out, single_ones

OPTION: Final = "deidentified"
COUNTED_DAYS: Final = (
    "The archive counts the days since each patient's first visit. The Safe Harbor of "
    "45 CFR 164.514(b)(2) asks for everything of a date but its year to be gone: give "
    "this away only if your privacy officer has said that counted days may go out."
)
YOURS_TO_JUDGE: Final = (
    "De-identified only if you know of nothing in it that tells who somebody is: rare "
    "conditions and ages are yours to judge. Show no count of 1 to 10 people."
)


def add(parser: Any, kinds: Any) -> None:
    kinds.add_argument(
        "--deidentified",
        metavar="FILE.zip",
        help="tests and treatment without identifiers, by the Safe Harbor of HIPAA",
    )
    parser.add_argument(
        "--day-offsets",
        action="store_true",
        help="with --deidentified: count days since the first visit (a privacy "
        "officer's judgement)",
    )


def refuse_alone(given: argparse.Namespace) -> None:
    """Counted days are of this export only."""
    if given.day_offsets and given.deidentified is None:
        raise Refused("--day-offsets goes with --deidentified only")


def run(given: argparse.Namespace) -> int:
    settings, path, days = (
        settings_from(given),
        Path(given.deidentified),
        given.day_offsets,
    )
    if path.suffix != ".zip" or not path.parent.is_dir():
        raise Refused(
            f"{path}: name a file that ends in .zip, in a folder that is there"
        )
    demo = is_demo_folder(settings.data_dir)
    with opened_site(settings) as engine:
        with write_session(engine) as session:
            did(session, f"exported_deidentified{'_days' * days}")
        with read_session(engine) as session:
            told = Progress("patients")
            made = Deidentifying(session, catalogue(), demo, days, told)
            save(path, archived(made.members()))
            told.over()
            (left,) = left_out(session, single_ones(demo=demo))
    print(f"Wrote {path}. {YOURS_TO_JUDGE}")
    print(f"left out, waiting for a co-signature: {left.words}")
    if days:
        print(COUNTED_DAYS, file=sys.stderr)
    return 0
