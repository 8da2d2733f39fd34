"""`tapeline export --csv FOLDER`: trials, scores and readings, a row for each."""

import argparse
from pathlib import Path
from typing import Any, Final

from app.catalogue.load import catalogue
from app.commands.demo_folder import is_demo_folder
from app.commands.opening import did, opened_site, settings_from
from app.commands.progress import Progress
from app.commands.saving import save_lines
from app.storage.caseload_rows import labelled
from app.storage.database import read_session, write_session
from app.web.exported_tables import Tables
from app.web.released import left_out, open_ones

OPTION: Final = "csv"


def add(_parser: Any, kinds: Any) -> None:
    kinds.add_argument(
        "--csv",
        metavar="FOLDER",
        help="trials.csv, scores.csv and readings.csv: one row for each",
    )


def run(given: argparse.Namespace) -> int:
    settings, out = settings_from(given), Path(given.csv)
    demo = is_demo_folder(settings.data_dir)
    with opened_site(settings) as engine:
        out.mkdir(mode=0o700, parents=True, exist_ok=True)
        with write_session(engine) as session:
            did(session, "exported_tables")
        with read_session(engine) as session:
            told = Progress("patients")
            tables = Tables(
                session, catalogue(), labelled(session, demo=demo), demo, told
            )
            for name, lines in tables.members():
                save_lines(out / name, lines)
            told.over()
            (left,) = left_out(session, open_ones(demo=demo))
    print("".join(tables.contents()).replace("\r\n", "\n"), end="")
    print(f"left out, waiting for a co-signature: {left.words}")
    return 0
