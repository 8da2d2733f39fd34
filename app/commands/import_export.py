"""`tapeline import` and `tapeline export`: a caseload as two CSV files.

With `--site` either hands over to `site_copy`, which copies everything.

An import is one transaction: every row of every file, or none.
"""

import argparse
import os
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, Final

from sqlmodel import Session, col, select

from app.access import SUPERVISOR, may
from app.catalogue.load import catalogue
from app.commands import export_csv, export_deidentified, export_fhir, site_copy
from app.commands.demo_folder import is_demo_folder
from app.commands.opening import (
    add_data_option,
    did,
    opened_site,
    refuse_demo_folder,
    settings_from,
)
from app.commands.progress import Progress
from app.commands.refused import Refused
from app.commands.saving import save_lines
from app.exports.caseload_csv import patients_csv, scores_csv
from app.settings import Settings
from app.storage.caseload_rows import labelled
from app.storage.database import read_session, write_session
from app.storage.holders import possible_holders
from app.storage.people import Person, actor
from app.web.exporting import exported_patients, exported_scores
from app.web.importing import CaseloadFile, Import, Line, take_in
from app.web.owing import keep_owed
from app.web.released import left_out, open_ones

PATIENTS: Final = "patients.csv"
SCORES: Final = "scores.csv"
#: What else an export may be: each has an option of its own, and none goes with others.
KINDS: Final = (export_csv, export_deidentified, export_fhir, site_copy)
#: So many problems are told; a file with more has one cause.
MOST_PROBLEMS: Final = 50


def add(commands: Any) -> None:
    _add_import(commands)
    _add_export(commands)


def _add_import(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "import",
        help="take in patients and past scores from CSV files, or a whole site",
        epilog="All rows or none; the same file again adds nothing. While rows are "
        "written nobody else can save: for more than some hundred, stop the site "
        "first. The columns are described on the page Import of a supervisor."
        "\n\nexample:\n"
        "  tapeline import caseload/ --data ~/tapeline --dry-run\n"
        "  tapeline import --site ward.zip --data ~/new",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument(
        "files", nargs="*", metavar="FILE", help="CSV files, or a folder with both"
    )
    p.add_argument(
        "--dry-run", action="store_true", help="say what each row would do, and stop"
    )
    site_copy.add_import_option(p)
    p.add_argument("--by", metavar="HANDLE", help="the supervisor who imports")
    p.add_argument(
        "--assign-to",
        metavar="HANDLE",
        help="who looks after the patients it adds; default: who imports",
    )
    add_data_option(p, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    p.set_defaults(run=run_import)


def _add_export(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "export",
        help="write patients and their scores as CSV files, or another export",
        epilog="What waits for a co-signature is left out and counted.\n\nexample:\n"
        "  tapeline export --data ~/tapeline --out caseload/\n"
        "  tapeline export --data ~/tapeline --deidentified tests.zip\n"
        "  tapeline export --data ~/tapeline --fhir bundles/\n"
        "  tapeline export --data ~/tapeline --site ward.zip",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    kinds = p.add_mutually_exclusive_group(required=True)
    kinds.add_argument(
        "--out",
        metavar="FOLDER",
        help="patients.csv and scores.csv, to import elsewhere; made if missing",
    )
    for kind in KINDS:
        kind.add(p, kinds)
    add_data_option(p, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    p.set_defaults(run=run_export)


def run_import(given: argparse.Namespace) -> int:
    settings = settings_from(given)
    refuse_demo_folder(settings)
    if given.site is not None:
        return site_copy.take_in(given, settings)
    files = _files(given.files)
    with opened_site(settings) as engine:
        with read_session(engine) as session:
            session.info["now"] = datetime.now(UTC)
            me = _importer(session, given.by)
            holder = _holder(session, me, given.assign_to)
            doing = _import(session, me, settings)
            lines = _said(take_in(doing, files), files, every_row=given.dry_run)
        rows = sum(1 for line in lines if line.adds)
        if given.dry_run:
            print(f"Nothing was imported: a dry run. {_counts(lines)}")
            return 0
        if rows:
            with write_session(engine) as session:
                _write(session, me, settings, files, holder)
    print(f"Imported. {_counts(lines)}")
    return 0


def _write(
    session: Session,
    me: Person,
    settings: Settings,
    files: Sequence[CaseloadFile],
    holder: Person,
) -> None:
    session.info["now"] = datetime.now(UTC)
    doing = _import(session, session.get_one(Person, me.id), settings)
    doing.holder = session.get_one(Person, holder.id)
    doing.write, judging = True, Progress("reading scores, patients")
    doing.progress = judging
    _said(take_in(doing, files), files, every_row=False)
    judging.over()
    keep_owed(session, catalogue(), settings.clocks, doing.today)


def _import(session: Session, me: Person, settings: Settings) -> Import:
    now = datetime.now(UTC)
    full = settings.identifiers == "full"
    return Import(session, me, catalogue(), now, settings.zone, full=full)


def _said(
    lines: Iterable[Line], files: Sequence[CaseloadFile], *, every_row: bool
) -> list[Line]:
    """Go through all rows; Refused with their problems when there are any.

    What was written until then is undone by the session that this is raised through.
    """
    progress, of = Progress("rows"), sum(map(_rows, files))
    kept: list[Line] = []
    for done, line in enumerate(lines, 1):
        kept.append(line)
        if every_row and not line.problems:
            print(f"{line.file} line {line.line}: {line.does}")
        progress(done, max(of, done))
    progress.over()
    problems = [_words(line.file, p) for line in kept for p in line.problems]
    if problems:
        shown = problems[:MOST_PROBLEMS]
        more = len(problems) - len(shown)
        rest = [f"and {more} more"] if more else []
        raise Refused("nothing was imported\n  " + "\n  ".join([*shown, *rest]))
    return kept


def _rows(file: CaseloadFile) -> int:
    with file.open() as stream:
        return sum(1 for _ in stream)


def _words(file: str, problem: Any) -> str:
    column = f", {problem.column}" if problem.column else ""
    return f"{file} line {problem.line}{column}: {problem.says}"


def _counts(lines: Sequence[Line]) -> str:
    added = sum(line.adds for line in lines)
    here = len(lines) - added
    return f"Rows that add something: {added}; here already: {here}."


def _files(names: Sequence[str]) -> list[CaseloadFile]:
    if not names:
        raise Refused("name the CSV files, or a whole site's archive with --site")
    paths: list[Path] = []
    for name in names:
        path = Path(name)
        inside = [path / PATIENTS, path / SCORES] if path.is_dir() else [path]
        found = [each for each in inside if each.is_file()]
        if not found:
            raise Refused(f"{name}: there is no such file, or no {PATIENTS} in it")
        paths += found
    for path in paths:
        if not os.access(path, os.R_OK):
            raise Refused(f"{path}: it may not be read")
    return [CaseloadFile(path.name, partial(_opened, path)) for path in paths]


def _opened(path: Path) -> BinaryIO:
    return path.open("rb")


def _importer(session: Session, handle: str | None) -> Person:
    """Who stands in every imported row: the one named, else the only supervisor."""
    wanted = select(Person).where(col(Person.active), col(Person.is_demo).is_(False))
    people = session.exec(wanted.order_by(col(Person.handle))).all()
    if handle is not None:
        named = [p for p in people if p.handle == handle.strip().lower()]
        if not named or not may(actor(named[0]), "import_caseload", None):
            raise Refused(f"--by {handle!r}: no supervisor signs in by this handle")
        return named[0]
    supervisors = [p for p in people if p.role == SUPERVISOR]
    if len(supervisors) != 1:
        known = ", ".join(p.handle for p in supervisors) or "nobody yet"
        raise Refused(f"say with --by which supervisor imports ({known})")
    return supervisors[0]


def _holder(session: Session, me: Person, handle: str | None) -> Person:
    """Who is assigned whom it adds."""
    if handle is None:
        return me
    for person in possible_holders(session, me):
        if person.handle == handle.strip().lower():
            return person
    raise Refused(f"--assign-to {handle!r}: nobody who can look after patients")


def run_export(given: argparse.Namespace) -> int:
    export_deidentified.refuse_alone(given)
    export_fhir.refuse_alone(given)
    for kind in KINDS:
        if getattr(given, kind.OPTION) is not None:
            code: int = kind.run(given)
            return code
    settings = settings_from(given)
    demo, out = is_demo_folder(settings.data_dir), Path(given.out)
    with opened_site(settings) as engine:
        out.mkdir(mode=0o700, parents=True, exist_ok=True)
        with write_session(engine) as session:
            did(session, "exported_caseload")
        with read_session(engine) as session:
            count = _export(session, out, demo=demo)
            (left,) = left_out(session, open_ones(demo=demo))
    print(f"left out, waiting for a co-signature: {left.words}")
    print(f"Wrote {count} patients to {out / PATIENTS} and their scores to {SCORES}.")
    return 0


def _export(session: Session, out: Path, *, demo: bool) -> int:
    named, shelf = labelled(session, demo=demo), catalogue()
    told = Progress("patients"), Progress("scores, patients")
    patients = exported_patients(session, named, demo=demo, progress=told[0])
    scores = exported_scores(session, shelf, named, demo=demo, progress=told[1])
    save_lines(out / PATIENTS, patients_csv(patients))
    save_lines(out / SCORES, scores_csv(scores))
    for each in told:
        each.over()
    return len(named)
