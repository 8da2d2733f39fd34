"""FHIR bundles of every demo patient: a validator, our rules, planted faults."""

import json
from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle as Oracle
from pydantic import ValidationError
from sqlmodel import select

from app.clinical.owing import Clocks
from app.exports.fhir_bundle import bundle
from app.exports.fhir_elements import identity, moment
from app.exports.fhir_json import fhir_json
from app.exports.fhir_values import Record
from app.storage.database import make_engine, read_session
from app.storage.patients import Patient
from app.storage.trials import rounds_of
from app.web.fhir_record import Teller, record_of
from app.web.judging import judge
from app.web.result_view import result_view
from tests.built_demo import CopyDemo
from tests.exports import fhir_rules
from tests.make import NOW, ZONE
from tests.test_demo import SHELF

Json = dict[str, Any]
#: Holds every kind of thing but a student's.
RICH = "Amber Heron"
TELLER = Teller(
    shelf=SHELF, zone=ZONE, clocks=Clocks(), full_names=False, version="0.1.0"
)


class Made:
    """A patient's bundle: as values, as text, as read back; and what the pages show."""

    def __init__(self, record: Record, shown: dict[str, str]) -> None:
        self.record, self.shown = record, shown
        self.text = fhir_json(bundle(record))
        self.read: Json = json.loads(self.text, parse_float=Decimal)


@pytest.fixture(scope="module")
def demo(
    tmp_path_factory: pytest.TempPathFactory, copy_demo: CopyDemo
) -> dict[str, Made]:
    path = tmp_path_factory.mktemp("fhir") / "demo.sqlite"
    engine = make_engine(f"sqlite:///{copy_demo(path, NOW, ZONE)}")
    made = {}
    with read_session(engine) as session:
        for patient in session.exec(select(Patient)):
            record = record_of(session, patient, TELLER, NOW)
            shown = {}
            for kept in rounds_of(session, patient.id):
                judged = judge(session, SHELF, patient, kept.round)
                if judged.result is not None:
                    shown[f"round {kept.round.uid}"] = result_view(judged).value
            made[patient.label] = Made(record, shown)
    engine.dispose()
    return made


def test_validator_accepts_every_patient(demo: dict[str, Made]) -> None:
    """R4B 4.3.0 models: those of R4 4.0.1 are not shipped any more."""
    assert len(demo) >= 17
    for made in demo.values():
        read = Oracle.model_validate_json(made.text)

        assert len(read.entry or ()) == len(made.read["entry"])


def test_validator_refuses_what_is_none(demo: dict[str, Made]) -> None:
    """It is worth what it finds."""
    wrong = deepcopy(demo[RICH].read)
    del next(fhir_rules.of_kind(wrong, "Observation"))["status"]

    with pytest.raises(ValidationError):
        Oracle.model_validate_json(fhir_json(wrong))


def test_every_rule_holds_for_every_patient(demo: dict[str, Made]) -> None:
    found = {
        label: fhir_rules.broken(made.read)
        for label, made in demo.items()
        if fhir_rules.broken(made.read)
    }

    assert not found


def test_bundle_stays_small(
    demo: dict[str, Made], record_property: Callable[[str, object], None]
) -> None:
    largest = max(len(made.text.encode()) for made in demo.values())
    record_property("fhir", f"largest demo patient: {largest:,} bytes")

    assert largest < fhir_rules.MOST_BYTES / 4


def test_numbers_are_the_pages_own(demo: dict[str, Made]) -> None:
    """To the last digit: 12.0 stays 12.0."""
    checked = 0
    for made in demo.values():
        by_id = {e["resource"]["id"]: e["resource"] for e in made.read["entry"]}
        for score in made.record.scores:
            told = by_id[identity(score.key)].get("valueQuantity", {})
            assert str(told.get("value", "")) == made.shown[score.key], score.name
            checked += "value" in told
    assert checked >= 50


def test_every_score_goes_out_or_is_counted(demo: dict[str, Made]) -> None:
    for made in demo.values():
        left = made.record.left_out.unsigned.get("tests", 0)
        assert len(made.record.scores) + left == len(made.shown)


def test_nobody_without_a_result_has_a_number(demo: dict[str, Made]) -> None:
    outcomes = set()
    for made in demo.values():
        for score in made.record.scores:
            by_id = {e["resource"]["id"]: e["resource"] for e in made.read["entry"]}
            told = by_id[identity(score.key)]
            if score.outcome != "completed":
                outcomes.add(score.outcome)
                assert "valueQuantity" not in told
                assert f"outcome.{score.outcome}" in str(told["dataAbsentReason"])
    assert {"unable", "stopped"} <= outcomes


def test_demo_is_marked_and_nameless(demo: dict[str, Made]) -> None:
    for made in demo.values():
        (patient,) = fhir_rules.of_kind(made.read, "Patient")
        assert patient["meta"]["security"][0]["code"] == "HTEST"
        assert "name" not in patient


def test_no_unsigned_student_is_in_any_demo_bundle(demo: dict[str, Made]) -> None:
    left = [made.record.left_out.unsigned for made in demo.values()]
    roles = [
        person["qualification"][0]["code"]["text"]
        for made in demo.values()
        for person in fhir_rules.of_kind(made.read, "Practitioner")
    ]

    assert sum(one.get("visits", 0) for one in left) == 2
    assert "student" not in roles


def test_same_record_makes_the_same_text(demo: dict[str, Made]) -> None:
    made = demo[RICH]

    assert fhir_json(bundle(made.record)) == made.text


def test_names_go_out_where_they_are_kept(demo: dict[str, Made]) -> None:
    record = demo["Scarlet Dormouse"].record
    who = replace(record.patient, name="Ann Example", number="12")
    (patient,) = fhir_rules.of_kind(bundle(replace(record, patient=who)), "Patient")

    assert patient["name"] == [{"text": "Ann Example"}]
    assert [one["value"] for one in patient["identifier"]] == ["Scarlet Dormouse", "12"]


def test_typed_text_stays_text(demo: dict[str, Made]) -> None:
    record = demo["Scarlet Dormouse"].record
    odd = "<script>alert(1)</script> & \x00\x1b \ud800 ]]>"
    who = replace(record.patient, label=odd)
    made = json.loads(fhir_json(bundle(replace(record, patient=who))))

    assert not fhir_rules.broken(made)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Decimal("12.0"), "12.0"),
        (Decimal("0.10"), "0.10"),
        (Decimal("1E+2"), "100"),
        (Decimal("-20.8"), "-20.8"),
        (7, "7"),
        (True, "true"),
        ('a\n"b', '"a\\n\\"b"'),
        ({"a": [1, {"b": Decimal("2.50")}]}, '{"a":[1,{"b":2.50}]}'),
    ],
)
def test_json_keeps_the_digits(value: object, text: str) -> None:
    assert fhir_json(value) == text


def test_json_takes_no_float() -> None:
    with pytest.raises(TypeError):
        fhir_json(12.0)


def test_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        moment(NOW.replace(tzinfo=None))


# --- planted faults: each rule finds its own ---


def first(made: Json, kind: str, *having: str) -> Json:
    """The first of a kind that has all these elements."""
    return next(
        one for one in fhir_rules.of_kind(made, kind) if all(h in one for h in having)
    )


def vital(made: Json, code: str) -> Json:
    """The first vital sign with this code."""
    return next(
        one
        for one in fhir_rules.of_kind(made, "Observation")
        if one["code"]["coding"][0]["code"] == code
    )


def _twice(made: Json) -> None:
    made["entry"].append(made["entry"][1])


def _both(made: Json) -> None:
    first(made, "Observation", "valueQuantity")["dataAbsentReason"] = {"text": "no"}


def _neither(made: Json) -> None:
    one = first(made, "Observation", "valueQuantity")
    one.pop("component", None)
    del one["valueQuantity"]


def _part_twice(made: Json) -> None:
    part = first(made, "Observation", "component")["component"][0]
    part |= {"valueString": "also", "dataAbsentReason": {"text": "no"}}


def _part_like_whole(made: Json) -> None:
    one = first(made, "Observation", "component", "valueQuantity")
    one["component"][0]["code"] = deepcopy(one["code"])


def _end_first(made: Json) -> None:
    first(made, "EpisodeOfCare")["period"] |= {
        "start": "2026-03-02",
        "end": "2026-03-01",
    }


def _no_notice(made: Json) -> None:
    for section in first(made, "Composition")["section"]:
        section.pop("text", None)


def _put(kind: str, *path: str | int, to: object) -> Callable[[Json], None]:
    """Puts a value at a place of the first of a kind that has its first name."""

    def plant(made: Json) -> None:
        *way, last = path
        place: Any = made if kind == "Bundle" else first(made, kind, str(path[0]))
        for step in way:
            place = place[step]
        place[last] = to

    return plant


def _drop(kind: str, *path: str | int) -> Callable[[Json], None]:
    def plant(made: Json) -> None:
        *way, last = path
        place: Any = first(made, kind, str(path[0]))
        for step in way:
            place = place[step]
        del place[last]

    return plant


def _of_vital(code: str, change: Callable[[Json], object]) -> Callable[[Json], None]:
    return lambda made: void(change(vital(made, code)))


def void(_: object) -> None:
    """A deed whose result nobody needs."""


QUANTITY = ("valueQuantity",)
CODING = ("code", "coding", 0)
FAULTS: list[tuple[str, Callable[[Json], None]]] = [
    ("ids", _put("Patient", "id", to="Amber Heron!")),
    ("ids", _put("Bundle", "entry", 2, "fullUrl", to="urn:uuid:1")),
    ("ids", _twice),
    ("references", _put("Encounter", "subject", "reference", to="Patient/1")),
    ("references", _put("Goal", "subject", "reference", to="urn:uuid:1")),
    ("kinds", _put("Flag", "resourceType", to="Basic")),
    ("kinds", _drop("Encounter", "class")),
    ("statuses", _put("Observation", "status", to="banana")),
    ("statuses", _put("Bundle", "type", to="heap")),
    ("statuses", _put("Goal", "lifecycleStatus", to="met")),
    ("statuses", _put("Patient", "gender", to="woman")),
    (
        "statuses",
        _put("Goal", "target", 0, "detailQuantity", "comparator", to="about"),
    ),
    ("codes", _of_vital("8867-4", lambda one: one["code"]["coding"][0].update(
        code="24419-4"))),
    ("codes", _of_vital("85354-9", lambda one: one["extension"][0].update(
        valueCodeableConcept={"coding": [
            {"system": "http://snomed.info/sct", "code": "40199007"}]}))),
    ("codes", _put("Observation", *CODING, "system", to="http://example.org")),
    ("codes", _put("Goal", "achievementStatus", "coding", 0, "code", to="met")),
    ("codes", _put("Observation", "code", "coding", 0, "code", to=" ")),
    ("units", _put("Observation", *QUANTITY, "code", to="seconds")),
    ("units", _put("Observation", *QUANTITY, "system", to="http://unitsofmeasure")),
    ("units", _put("Observation", *QUANTITY, "value", to="12.0")),
    ("units", _drop("Observation", *QUANTITY, "value")),
    ("moments", _put("Observation", "effectiveDateTime", to="2026-03-02T10:00:00")),
    ("moments", _put("Bundle", "timestamp", to="2026-03-02")),
    ("moments", _put("Patient", "birthDate", to="03/02/1948")),
    ("moments", _end_first),
    ("values", _both),
    ("values", _neither),
    ("values", _part_twice),
    ("values", _part_like_whole),
    ("vital_signs", _of_vital("8867-4", lambda one: one.pop("category"))),
    ("vital_signs", _of_vital("8867-4", lambda one: one.pop("effectiveDateTime"))),
    ("vital_signs", _of_vital("8867-4", lambda one: one["meta"].pop("profile"))),
    ("vital_signs", _of_vital("85354-9", lambda one: one["component"].pop())),
    ("vital_signs", lambda made: first(made, "Observation", "method").update(
        category=vital(made, "8867-4")["category"])),
    ("goals", _drop("Goal", "target", 0, "measure")),
    ("goals", _drop("Goal", "target", 0, "dueDate")),
    ("empties", _put("Patient", "identifier", to=[])),
    ("empties", _put("CarePlan", "title", to="")),
    ("narratives", _put("Flag", "text", "div", to="<div>no <script>x</script></div>")),
    ("narratives", _put("Flag", "text", "div", to="<div>a & b</div>")),
    ("narratives", _put("Flag", "text", "status", to="additional")),
    ("notices", _no_notice),
    ("test_data", _drop("Flag", "meta", "security")),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "plant"), FAULTS)
def test_planted_fault_is_found(
    demo: dict[str, Made], rule: str, plant: Callable[[Json], None]
) -> None:
    wrong = deepcopy(demo[RICH].read)
    assert not list(fhir_rules.RULES[rule](wrong))

    plant(wrong)

    assert list(fhir_rules.RULES[rule](wrong))


def test_every_rule_has_its_planted_fault() -> None:
    assert {rule for rule, _ in FAULTS} == set(fhir_rules.RULES)
