"""Notes made from a site's events: the demo's own, and what it does not hold."""

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, col, select

from app.clinical.note import ORDERS, SECTIONS, Line
from app.main import create_app
from app.settings import Settings
from app.storage.database import read_session
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient
from app.web.deps import Site
from app.web.note_facts import evaluation_lines, visit_facts, visit_lines
from tests.built_demo import CopyDemo
from tests.make import (
    NOW,
    ZONE,
)
from tests.web.note_numbers_behind import Behind, numbers, unsupported

GOLDEN = Path(__file__).parent.parent / "golden" / "notes"
#: Patient, which of their visits, and the note.
NOTES = (
    ("Amber Heron", 1, "evaluation"),
    ("Amber Heron", 4, "visit"),
    ("Copper Plover", 3, "visit"),
    ("Indigo Kestrel", 1, "visit"),
    ("Ivory Newt", 3, "visit"),
    ("Jade Wren", 1, "visit"),
    ("Jade Wren", 6, "visit"),
    ("Lilac Vole", 1, "visit"),
    ("Slate Tern", 1, "visit"),
    ("Teal Marten", 4, "visit"),
    ("Teal Marten", 5, "visit"),
)
MAKERS = {"visit": visit_lines, "evaluation": evaluation_lines}
#: Set to write the notes anew; the test then fails once, so that somebody looks.
WRITE = "TAPELINE_TEST_WRITE_NOTES"
ERROR_PRONE = re.compile(r"[<>@&≤≥→↑↓·]|(?<!\d)\.\d|\b[RL]\b|\bTUG\b|/min|°")


@pytest.fixture(scope="module")
def demo(
    tmp_path_factory: pytest.TempPathFactory, copy_demo: CopyDemo
) -> Iterator[Site]:
    """The demo site as of one fixed moment."""
    folder = tmp_path_factory.mktemp("demo")
    copy_demo(folder / "tapeline.sqlite", NOW, ZONE)
    app = create_app(Settings(data_dir=folder, site_timezone="Europe/Vienna"))
    app.state.site.clock = lambda: NOW
    yield app.state.site
    app.state.site.engine.dispose()


def demo_visit(session: Session, label: str, place: int) -> Visit:
    wanted = (
        select(Visit)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .join(Patient, col(Patient.id) == col(Episode.patient_id))
        .where(Patient.label == label)
        .order_by(col(Visit.local_date), col(Visit.id))
    )
    return session.exec(wanted).all()[place - 1]


def as_printed(lines: tuple[Line, ...]) -> str:
    """By section; what is asked stands in brackets, with a star where it must be."""
    said = []
    for section in ORDERS["soap"]:
        said.append(f"{SECTIONS[section]}:")
        for line in lines:
            if line.section == section:
                asked = f"[{'* ' if line.needed else ''}{line.asks}]"
                said.append(line.made or asked)
        said.append("")
    return "\n".join(said)


@pytest.mark.parametrize(("label", "place", "kind"), NOTES)
def test_note_of_the_demo_reads_as_it_was_reviewed(
    demo: Site, label: str, place: int, kind: str
) -> None:
    name = f"{label.lower().replace(' ', '_')}_{place}_{kind}.txt"
    with read_session(demo.engine) as session:
        visit = demo_visit(session, label, place)
        printed = as_printed(MAKERS[kind](session, demo, visit))
    if os.environ.get(WRITE):
        (GOLDEN / name).write_text(printed, encoding="utf-8")
        pytest.fail(f"{name} was written: read it against the events of the visit.")

    assert printed == (GOLDEN / name).read_text(encoding="utf-8")


def test_no_other_notes_are_kept() -> None:
    names = {f"{a.lower().replace(' ', '_')}_{n}_{k}.txt" for a, n, k in NOTES}

    assert {path.name for path in GOLDEN.iterdir()} == names


@pytest.fixture(scope="module")
def every_note(demo: Site) -> dict[int, tuple[Line, ...]]:
    """The lines of each visit of the demo."""
    with read_session(demo.engine) as session:
        visits = session.exec(select(Visit).order_by(col(Visit.id))).all()
        return {visit.id: visit_lines(session, demo, visit) for visit in visits}


def test_every_number_of_every_note_stands_in_what_it_cites(
    demo: Site, every_note: dict[int, tuple[Line, ...]]
) -> None:
    checked, results = 0, dict[int, Any]()
    with read_session(demo.engine) as session:
        for visit_id, lines in every_note.items():
            visit = session.get_one(Visit, visit_id)
            behind = Behind(session, demo, visit, results)
            for line in lines:
                assert unsupported(line, behind.of(line)) == set(), line.made
                assert not ERROR_PRONE.search(line.made), line
                checked += len(numbers(line.made))
    assert checked > 1000


def test_an_invented_number_is_found(demo: Site) -> None:
    """What the test above rests on: it can fail."""
    with read_session(demo.engine) as session:
        visit = demo_visit(session, "Amber Heron", 4)
        behind = Behind(session, demo, visit)
        lines = {x.key: x for x in visit_lines(session, demo, visit) if x.made}
        (task, *_) = [x for key, x in lines.items() if key.startswith("task:")]
        (test, *_) = [x for key, x in lines.items() if key.startswith("round:")]
        for line in (task, test):
            wrong = Line(line.key, line.section, f"{line.made} 77.7 s", line.refs)
            assert unsupported(wrong, behind.of(line)) == {"77.7"}


def test_lines_name_events_and_keys_stand_once(
    every_note: dict[int, tuple[Line, ...]],
) -> None:
    for lines in every_note.values():
        keys = [line.key for line in lines]
        assert len({*keys}) == len(keys)
        assert all(line.refs for line in lines if line.made), lines


def test_a_stop_of_a_day_is_no_threat_to_other_days(demo: Site) -> None:
    """An earlier visit's note holds nothing of what came later."""
    with read_session(demo.engine) as session:
        first = visit_facts(session, demo, demo_visit(session, "Amber Heron", 2))
        (goal,) = first.goals

    assert goal.progress.startswith("11 % of the way from 19.4 s")
    assert "14.6" not in " ".join(m.says for m in first.measures)
