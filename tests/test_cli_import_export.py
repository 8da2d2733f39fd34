"""`tapeline import` and `export`: there and back is the same; all rows or none."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import Engine
from sqlmodel import Session, col, func, select

from app.catalogue.load import catalogue
from app.cli import main
from app.clinical.person import Onset
from app.commands.demo_files import read_story
from app.commands.demo_folder import DATABASE, MARKER
from app.commands.demo_site import build
from app.commands.import_export import PATIENTS, SCORES
from app.resources import folder
from app.storage.assignments import Assignment
from app.storage.audit import AuditEntry, verify
from app.storage.database import make_engine, migrate, read_session, write_session
from app.storage.patients import Patient, PatientDetails, close_patient
from app.storage.people import Person
from app.storage.profile import write_profile
from app.storage.scores import Score
from app.storage.trials import Round, Trial, TrialBody
from app.web.judging import keep
from tests.asked import queries
from tests.make import (
    make_episode,
    make_patient,
    make_person,
    make_precaution,
    make_round,
    make_trial,
    make_visit,
)

Capture = pytest.CaptureFixture[str]
NOW = datetime.now(UTC)
DAY = timedelta(days=1)
ODD = [
    "=cmd|' /C calc'!A0",
    "'+49",
    "-2+3; | \\ 'x",
    'two\r\nlines, "quoted"',
    "Zoë ＝ 名前 🙂",
]


def engine_of(data: Path) -> Engine:
    return make_engine(f"sqlite:///{data / DATABASE}")


def new_site(data: Path, *supervisors: str) -> Path:
    data.mkdir(mode=0o700, parents=True)
    engine = engine_of(data)
    migrate(engine, None)
    with write_session(engine) as session:
        for handle in supervisors:
            make_person(session, handle, role="supervisor", now=NOW)
    engine.dispose()
    return data


@pytest.fixture
def full(tmp_path: Path) -> Path:
    """A real site with odd texts, double labels, and somebody closed."""
    data = new_site(tmp_path / "full", "boss")
    engine = engine_of(data)
    with write_session(engine) as session:
        fill(session)
    engine.dispose()
    return data


def fill(session: Session) -> None:
    therapist = make_person(session, "therapist", now=NOW)
    for place, text in enumerate([*ODD, "Blue 7", "Blue 7"]):
        details = PatientDetails(
            label=text,
            birth_year=1940 + place,
            conditions={"stroke": Onset(2025, 1, place + 1), "copd": Onset(2019)},
            sides={"stroke": "left"},
            facts={"fall_history": "one"},
            sizes={"height": ("170", "cm"), "weight": ("154.5", "lb")},
        )
        patient = make_patient(session, therapist, details, now=NOW)
        episode = make_episode(
            session, therapist, patient, reason=text, opened_on=date(2025, 2, 1)
        )
        episode.order_on, episode.plan_on = date(2025, 2, 1), date(2025, 2, 2)
        lived = {"prior_mobility": "device", "lives_with": "partner"}
        write_profile(session, therapist, episode, lived, version=0, now=NOW)
        precaution = make_precaution(
            session, therapist, episode, "oxygen", set_on=date(2025, 2, 1)
        )
        precaution.note, precaution.set_by = text, text
        visit = make_visit(session, therapist, episode, now=NOW, zone=ZoneInfo("UTC"))
        walk = make_round(session, therapist, visit, facts={"device": "cane"})
        make_trial(session, therapist, walk, TrialBody(raw_ms=16_240 + place))
        reach = make_round(session, therapist, visit, measure="functional_reach")
        make_trial(session, therapist, reach, TrialBody(outcome="stopped", reason=text))
        for round in (walk, reach):
            keep(session, catalogue(), patient, round, now=NOW)
    gone = make_patient(session, therapist, label="Long gone", now=NOW)
    close_patient(session, therapist, gone.id, version=1, now=NOW)


def export(data: Path, out: Path) -> tuple[bytes, bytes]:
    assert main(["export", "--data", str(data), "--out", str(out)]) == 0
    return (out / PATIENTS).read_bytes(), (out / SCORES).read_bytes()


def take_in(data: Path, *options: object) -> int:
    return main(["import", *map(str, options), "--data", str(data)])


def count(data: Path, table: type[Round | Trial | Patient | Score | Person]) -> int:
    engine = engine_of(data)
    with read_session(engine) as session:
        found = session.exec(select(func.count(col(table.id)))).one()
    engine.dispose()
    return found


def test_export_import_export_is_the_same(full: Path, tmp_path: Path) -> None:
    empty = new_site(tmp_path / "empty", "other")
    first = export(full, tmp_path / "one")
    code = take_in(empty, tmp_path / "one")
    second = export(empty, tmp_path / "two")

    assert code == 0
    assert first == second
    assert first[0].count(b"\r\n") > len(ODD)


def test_same_files_again_add_nothing(
    full: Path, tmp_path: Path, capsys: Capture
) -> None:
    empty = new_site(tmp_path / "empty", "other")
    export(full, tmp_path / "one")
    take_in(empty, tmp_path / "one")
    before = [count(empty, table) for table in (Patient, Round, Trial, Score)]
    capsys.readouterr()
    code = take_in(empty, tmp_path / "one")

    assert code == 0
    assert "Rows that add something: 0; here already: 21." in capsys.readouterr().out
    assert [count(empty, t) for t in (Patient, Round, Trial, Score)] == before


def test_a_site_knows_its_own_export(
    full: Path, tmp_path: Path, capsys: Capture
) -> None:
    """Rounds recorded here have ids of their own, so they are known by content."""
    engine = engine_of(full)
    with write_session(engine) as session:
        twins = session.exec(select(Patient).where(Patient.label == "Blue 7")).all()
        twins[1].closed_at = NOW
    engine.dispose()
    export(full, tmp_path / "one")
    before = [count(full, table) for table in (Patient, Round, Trial)]
    capsys.readouterr()

    assert take_in(full, tmp_path / "one") == 0
    assert "add something: 0; here already: 18." in capsys.readouterr().out
    assert [count(full, table) for table in (Patient, Round, Trial)] == before


def test_label_of_two_people_means_nobody(
    full: Path, tmp_path: Path, capsys: Capture
) -> None:
    lone = tmp_path / "lone.csv"
    lone.write_text(GOOD.replace("Blue 1", "Blue 7"))

    assert take_in(full, lone) == 2
    assert "2 patients here have this label." in capsys.readouterr().err


def test_demo_goes_there_and_back_with_its_scores(tmp_path: Path) -> None:
    """Everything a demo patient shows: the derived scores are the same too."""
    data = new_site(tmp_path / "demo")
    (data / MARKER).write_text("invented")
    engine, shelf = engine_of(data), catalogue()
    build(engine, shelf, read_story(folder("demo_data"), shelf), now=NOW,
          zone=ZoneInfo("UTC"))  # fmt: skip
    engine.dispose()
    patients, scores = export(data, tmp_path / "one")
    real = new_site(tmp_path / "real", "boss")
    refused = take_in(real, tmp_path / "one")
    for name, content in ((PATIENTS, patients), (SCORES, scores)):
        as_real = content.replace(b",yes\r\n", b",\r\n")
        (tmp_path / "one" / name).write_bytes(as_real)

    assert refused == 2
    assert take_in(real, tmp_path / "one") == 0
    assert shown_scores(real) == shown_scores(data)
    assert main(["doctor", "--data", str(real)]) == 0


def shown_scores(data: Path) -> list[tuple[object, ...]]:
    """What lists show of every score; who did it may make a change less sure.

    A score made from other tests has no trials, so that no file carries it.
    """
    made = [m.id for m in catalogue().measures.values() if m.components]
    engine = engine_of(data)
    with read_session(engine) as session:
        wanted = (
            select(Score, Patient.label)
            .join(Patient, col(Patient.id) == col(Score.patient_id))
            .where(col(Score.measure).not_in(made))
        )
        found = sorted(
            (label, str(s.on_date), s.measure, s.outcome, s.value or "", s.lead_says,
             s.change_verdict or "", s.variant)
            for s, label in session.exec(wanted)
        )  # fmt: skip
    engine.dispose()
    assert len(found) > 20
    return list(found)


GOOD = "label,date,measure,trials,by\nBlue 1,2025-03-01,timed_up_and_go,16.2 s,J\n"
WHO = (
    "label,birth_year,reason,setting,plan,opened_on\n"
    "Blue 1,1948,falls,community,restore,2025-02-01\n"
)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    return new_site(tmp_path / "site", "boss")


@pytest.fixture
def files(tmp_path: Path) -> Path:
    made = tmp_path / "files"
    made.mkdir()
    (made / PATIENTS).write_text(WHO)
    (made / SCORES).write_text(GOOD)
    return made


@pytest.fixture
def opened(data: Path) -> Iterator[Engine]:
    engine = engine_of(data)
    yield engine
    engine.dispose()


def test_patients_go_to_whom_one_names(
    data: Path, files: Path, opened: Engine, capsys: Capture
) -> None:
    with write_session(opened) as session:
        make_person(session, "therapist", now=NOW)
        make_person(session, "learner", role="student", now=NOW)
    refused = [take_in(data, files, "--assign-to", who) for who in ("x", "learner")]
    told = capsys.readouterr().err
    assert take_in(data, files, "--assign-to", "Therapist") == 0
    with read_session(opened) as session:
        held = select(Person.handle).join(Assignment).distinct()
        owners = list(session.exec(held))

    assert refused == [2, 2]
    assert "--assign-to" in told
    assert owners == ["therapist"]


def test_names_go_only_where_the_site_keeps_them(
    data: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "named.csv"
    path.write_text("label,full_name,record_number\nGreen 9,Invented Person,X-1\n")
    refused = take_in(data, path)
    told = capsys.readouterr().err
    monkeypatch.setenv("TAPELINE_IDENTIFIERS", "full")
    taken = take_in(data, path)
    who, _ = export(data, tmp_path / "out")

    assert (refused, taken) == (2, 0)
    assert "keeps no names" in told
    assert b"Invented Person,X-1" in who


def test_dry_run_says_what_each_row_would_do(
    data: Path, files: Path, capsys: Capture
) -> None:
    assert take_in(data, files, "--dry-run") == 0

    assert capsys.readouterr().out.splitlines() == [
        "patients.csv line 2: adds a patient",
        "scores.csv line 2: adds 1 trial of Timed Up and Go on 1 Mar 2025",
        "Nothing was imported: a dry run. Rows that add something: 2; here already: 0.",
    ]
    assert count(data, Patient) == 0


def test_imported_trial_is_marked_and_judged(
    data: Path, files: Path, opened: Engine
) -> None:
    assert take_in(data, files) == 0

    with read_session(opened) as session:
        trial = session.exec(select(Trial)).one()
        score = session.exec(select(Score)).one()
        deeds = session.exec(select(AuditEntry.deed).order_by(col(AuditEntry.id)))
        boss = session.exec(select(Person)).one()
        assert (trial.raw_ms, trial.recorded_by) == (16_200, boss.id)
        assert trial.clocks == {"imported": True, "by": "J"}
        assert (score.value, score.on_date) == ("16.2", date(2025, 3, 1))
        assert score.edition == catalogue().edition
        assert list(deeds) == [
            "added_person", "added_patient", "assigned", "opened_episode",
            "imported_visit", "imported_round", "imported_caseload",
        ]  # fmt: skip
        assert verify(session) is None


def test_two_alike_rows_are_two_rounds(data: Path, files: Path) -> None:
    row = GOOD.splitlines()[1]
    (files / SCORES).write_text(f"{GOOD}{row}\n")
    codes = [take_in(data, files), take_in(data, files)]

    assert codes == [0, 0]
    assert count(data, Round) == 2


def test_scores_alone_go_to_who_is_here(data: Path, files: Path) -> None:
    take_in(data, files / PATIENTS)

    assert take_in(data, files / SCORES) == 0
    assert count(data, Score) == 1


def test_voided_import_stays_out(data: Path, files: Path, opened: Engine) -> None:
    """What somebody took back here is not brought in by the same file again."""
    take_in(data, files)
    with write_session(opened) as session:
        trial = session.exec(select(Trial)).one()
        trial.voided_at, trial.voided_by = NOW, trial.recorded_by
        trial.void_reason = "wrong person"
        session.add(trial)

    assert take_in(data, files) == 0
    assert count(data, Round) == 1


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        (PATIENTS, WHO.replace("1948", "48"), "patients.csv line 2, birth_year: "),
        (SCORES, GOOD.replace("16.2 s", "0"), "scores.csv line 2, trials: "),
        (SCORES, GOOD.replace("Blue 1", "Blue 9"), "No patient has this label"),
        (SCORES, GOOD.replace("2025", "1930"), "before the person was born"),
        (PATIENTS, WHO + "Blue 1,1950,,,,\n", "An earlier row says something else"),
        (PATIENTS, "label\nBlue 1\n", "no stretch of care"),
        (SCORES, "nothing at all", "no column 'nothing at all'"),
    ],
)
def test_one_bad_row_keeps_all_out(
    data: Path, files: Path, capsys: Capture, name: str, content: str, says: str
) -> None:
    (files / name).write_text(content)

    assert take_in(data, files) == 2
    assert says in capsys.readouterr().err
    assert (count(data, Patient), count(data, Round)) == (0, 0)


def test_another_person_of_the_same_label_is_refused(
    data: Path, files: Path, capsys: Capture
) -> None:
    take_in(data, files / PATIENTS)
    (files / PATIENTS).write_text(WHO.replace("1948", "1950"))

    assert take_in(data, files) == 2
    assert "other things are known of them" in capsys.readouterr().err


def test_several_supervisors_must_say_who(
    tmp_path: Path, files: Path, capsys: Capture
) -> None:
    data = new_site(tmp_path / "two", "boss", "chief")

    assert take_in(data, files) == 2
    assert "--by which supervisor imports (boss, chief)" in capsys.readouterr().err
    assert take_in(data, files, "--by", "Chief") == 0


@pytest.mark.parametrize("handle", ["therapist", "nobody"])
def test_only_a_supervisor_imports(full: Path, files: Path, handle: str) -> None:
    assert take_in(full, files, "--by", handle) == 2


def test_bad_input_ends_with_one_line(data: Path, tmp_path: Path) -> None:
    assert take_in(data, tmp_path / "nowhere.csv") == 2
    assert take_in(tmp_path / "no-site", tmp_path) == 2
    assert main(["export", "--data", str(tmp_path / "x"), "--out", str(tmp_path)]) == 2
    assert not (tmp_path / "no-site").exists()


def test_demo_folder_takes_no_import(data: Path, files: Path, capsys: Capture) -> None:
    (data / MARKER).write_text("invented")

    assert take_in(data, files) == 2
    assert "made afresh at each start" in capsys.readouterr().err


def test_export_leaves_out_the_other_world(full: Path, tmp_path: Path) -> None:
    engine = engine_of(full)
    with write_session(engine) as session:
        invented = make_person(session, "invented", is_demo=True, now=NOW)
        make_patient(session, invented, label="Planted", now=NOW)
    engine.dispose()
    patients, _ = export(full, tmp_path / "one")

    assert b"Planted" not in patients
    assert b"Long gone" not in patients
    assert b"Blue 7 (2)" in patients


def test_exported_files_are_for_their_owner_only(full: Path, tmp_path: Path) -> None:
    export(full, tmp_path / "one")

    assert (tmp_path / "one" / PATIENTS).stat().st_mode & 0o077 == 0
    assert {path.name for path in (tmp_path / "one").iterdir()} == {PATIENTS, SCORES}


def test_no_exported_cell_begins_like_a_formula(full: Path, tmp_path: Path) -> None:
    patients, _ = export(full, tmp_path / "one")

    assert b"'=cmd|" in patients
    assert b"\n=cmd" not in patients
    assert b',"=cmd' not in patients


def selects(data: Path, files: Path, rounds: int) -> int:
    """What an import of so many rounds of two patients asks the database."""
    tests = ("timed_up_and_go", "five_times_sit_to_stand")
    second = WHO.splitlines()[1].replace("Blue 1", "Blue 2")
    rows = [
        f"{label},{date(2025, 3, 1) + n * DAY},{tests[n % 2]},16.2 s,J\n"
        for label in ("Blue 1", "Blue 2")
        for n in range(rounds // 2)
    ]
    (files / PATIENTS).write_text(f"{WHO}{second}\n")
    (files / SCORES).write_text(GOOD.splitlines()[0] + "\n" + "".join(rows))
    with queries(Engine) as asked:
        assert take_in(data, files) == 0
    assert count(data, Score) == rounds
    return len(asked)


def test_longer_file_asks_no_more(tmp_path: Path, files: Path) -> None:
    """Rows are looked up by the thousand, and a patient's scores marked at once."""
    few = selects(new_site(tmp_path / "few", "boss"), files, 2)
    many = selects(new_site(tmp_path / "many", "boss"), files, 60)

    assert many == few
