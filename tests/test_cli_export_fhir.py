"""`tapeline export --fhir`: a file each, of one world, told and written down."""

import json
from pathlib import Path

import pytest
from fhir.resources.R4B.bundle import Bundle as Oracle
from sqlmodel import col, select

from app.cli import main
from app.storage.audit import AuditEntry, verify
from app.storage.database import make_engine, migrate, read_session, write_session
from app.storage.patients import close_patient
from app.storage.responsible import assign
from tests.make import (
    NOW,
    make_episode,
    make_patient,
    make_person,
    make_round,
    make_trial,
    make_visit,
)

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A real site with two patients, one of them closed, and an invented one."""
    folder = tmp_path / "site"
    folder.mkdir()
    engine = make_engine(f"sqlite:///{folder / 'tapeline.sqlite'}")
    migrate(engine, None)
    with write_session(engine) as session:
        therapist = make_person(session)
        student = make_person(session, "student", role="student")
        patient = make_patient(session, therapist)
        episode = make_episode(session, therapist, patient)
        make_trial(
            session, therapist,
            make_round(session, therapist, make_visit(session, therapist, episode)),
        )  # fmt: skip
        assign(session, therapist, patient, student, now=NOW)
        make_visit(session, student, episode)
        gone = make_patient(session, therapist, label="Long gone")
        close_patient(session, therapist, gone.id, version=1, now=NOW)
        invented = make_person(session, "invented", is_demo=True)
        make_patient(session, invented, label="Teal Marten")
    engine.dispose()
    return folder


def export(data: Path, *options: str) -> int:
    try:
        return main(["export", "--data", str(data), *options])
    except SystemExit as refused:
        return int(refused.code or 0)


def labels(out: Path) -> list[str]:
    found = []
    for path in sorted(out.iterdir()):
        Oracle.model_validate_json(path.read_text())
        entries = json.loads(path.read_text())["entry"]
        (patient,) = [
            entry["resource"] for entry in entries
            if entry["resource"]["resourceType"] == "Patient"
        ]  # fmt: skip
        found.append(patient["identifier"][0]["value"])
        assert patient["identifier"][0]["value"] not in path.name
        assert path.stat().st_mode & 0o077 == 0
    return found


def test_open_real_patients_go_out(data: Path, tmp_path: Path, capsys: Capture) -> None:
    assert export(data, "--fhir", str(tmp_path / "out")) == 0
    engine = make_engine(f"sqlite:///{data / 'tapeline.sqlite'}")
    with read_session(engine) as session:
        in_turn = select(AuditEntry).order_by(col(AuditEntry.id))
        deeds = [entry.deed for entry in session.exec(in_turn)]
        sound = verify(session) is None
    engine.dispose()
    said = capsys.readouterr().out

    assert labels(tmp_path / "out") == ["Blue 7"]
    assert deeds[-1:] == ["exported_patient"]
    assert sound
    assert "Wrote 1 patients" in said
    assert "Work of students that nobody co-signed: visits 1." in said


def test_invented_ones_go_out_when_asked_for(data: Path, tmp_path: Path) -> None:
    assert export(data, "--fhir", str(tmp_path / "out"), "--demo") == 0

    assert labels(tmp_path / "out") == ["Teal Marten"]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ([], "one of the arguments --out --csv --deidentified --fhir --site"),
        (["--out", "a", "--fhir", "b"], "not allowed with argument --out"),
        (["--out", "a", "--demo"], "--demo goes with --fhir"),
    ],
)
def test_what_makes_no_sense_is_refused(
    data: Path, options: list[str], says: str, capsys: Capture
) -> None:
    assert export(data, *options) == 2
    assert says in capsys.readouterr().err


def test_no_site_no_export(tmp_path: Path, capsys: Capture) -> None:
    assert export(tmp_path, "--fhir", str(tmp_path / "out")) == 2
    assert "there is no site" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
