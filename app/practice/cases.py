"""Reading the cases of demo_data/practice: every key is known, typed, and makes sense.

A case file is one simulated person doing one measure. The edition of the key is a hash
of all cases and of the generator's version: attempts are compared with the key they
were made against.
"""

from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Final

import tomli

from app.practice.case import Case, Possible, TrialPlan
from app.practice.faults import kinds_of
from app.practice.planning import GENERATOR, TOGETHER
from app.practice.timeline import MEASURES

CONDITIONS: Final = {
    "none", "stroke", "parkinson", "vestibular", "amputation", "hip_fracture",
}  # fmt: skip
_RISE = frozenset({"react", "rise", "lower"})
_WALK = frozenset({"react", "step", "speed"})
#: What each generator asks a case's pace for, and what it may leave out.
PACE: Final[Mapping[str, tuple[frozenset[str], frozenset[str]]]] = {
    "five_times_sit_to_stand": (_RISE | {"upright", "seated"}, frozenset({"slowing"})),
    "thirty_second_chair_stand": (
        _RISE | {"upright", "seated"},
        frozenset({"slowing"}),
    ),
    "timed_up_and_go": (_RISE | _WALK | {"turn", "settle"}, frozenset({"freeze"})),
    "gait_speed": (_WALK, frozenset({"freeze"})),
    "functional_reach": (frozenset({"react", "lean", "hold", "reach"}), frozenset()),
    "four_square_step": (frozenset({"react", "step", "between", "pause"}), frozenset()),
    "single_leg_stance": (frozenset({"react", "raise", "hold", "sway"}), frozenset()),
}
_KEYS: Final = {
    "title", "measure", "condition", "person", "invented", "level", "facts", "pace",
    "fault", "trial",
}  # fmt: skip


class CaseError(Exception):
    """A case file is wrong; the message names file and key."""


def read_cases(folder: Path) -> dict[str, Case]:
    """Every case of a folder by its id (the file's name), in the order of names."""
    return {
        path.stem: read_case(path.stem, path.read_text(encoding="utf-8"))
        for path in sorted(folder.glob("*.toml"))
    }


def edition_of(folder: Path) -> str:
    """A short hash of every case and of the generator: the edition of the key."""
    digest = sha256(f"generator {GENERATOR}".encode())
    for path in sorted(folder.glob("*.toml")):
        text = path.read_text(encoding="utf-8").replace("\r\n", "\n")
        digest.update(f"\n{path.stem}\n{text}".encode())
    return digest.hexdigest()[:12]


def read_case(name: str, text: str) -> Case:
    """One case; CaseError when anything in it is unknown, missing or impossible."""
    try:
        content = tomli.loads(text)
    except tomli.TOMLDecodeError as fault:
        raise CaseError(f"{name}: {fault}") from fault
    _only(name, content, _KEYS)
    measure = _text(name, content, "measure")
    if measure not in MEASURES:
        raise CaseError(f"{name}: measure: {measure!r} cannot be simulated")
    condition = _text(name, content, "condition")
    if condition not in CONDITIONS:
        raise CaseError(f"{name}: condition: {condition!r} is not known")
    if not _text(name, content, "invented"):
        raise CaseError(f"{name}: invented: must say that the numbers are")
    return Case(
        id=name, title=_text(name, content, "title"), measure=measure,
        condition=condition, person=_text(name, content, "person"),
        facts=_facts(name, content.get("facts")), level=_level(name, content),
        pace=_pace(name, measure, content.get("pace")),
        possible=_faults(name, measure, content.get("fault")),
        trials=_trials(name, measure, content.get("trial")),
    )  # fmt: skip


def _only(name: str, table: Mapping[str, object], keys: set[str]) -> None:
    unknown = sorted(set(table) - keys)
    if unknown:
        raise CaseError(f"{name}: {unknown[0]}: is not a key of a case")


def _text(name: str, table: Mapping[str, object], key: str) -> str:
    value = table.get(key)
    if not isinstance(value, str) or not value.strip():
        raise CaseError(f"{name}: {key}: must be text")
    return value.strip()


def _level(name: str, table: Mapping[str, object]) -> int:
    value = table.get("level", 1)
    if not isinstance(value, int) or not 1 <= value <= 3:
        raise CaseError(f"{name}: level: must be 1, 2 or 3")
    return value


def _facts(name: str, value: object) -> dict[str, str]:
    if not isinstance(value, dict):
        raise CaseError(f"{name}: facts: must be a table")
    return {key: _text(name, value, key) for key in value}


def _pace(name: str, measure: str, value: object) -> dict[str, tuple[int, int]]:
    needed, more = PACE[measure]
    table = value if isinstance(value, dict) else {}
    for key in sorted(needed ^ set(table)):
        if key in needed:
            raise CaseError(f"{name}: pace.{key}: is missing")
        if key not in more:
            raise CaseError(f"{name}: pace.{key}: is not asked for by this test")
    return {key: _span(name, f"pace.{key}", table[key]) for key in table}


def _span(name: str, key: str, value: object) -> tuple[int, int]:
    match value:
        case [int(low), int(high)] if 0 <= low <= high:
            return (low, high)
    raise CaseError(f"{name}: {key}: must be [lowest, highest], whole numbers")


#: Of a hundred showings of a trial so many have a fault: none always, none never.
WRONG: Final = (10, 90)


def _faults(name: str, measure: str, value: object) -> tuple[Possible, ...]:
    """What may go wrong; at least two things, or a trial could be learned by heart."""
    if not isinstance(value, list) or len(value) < 2:
        raise CaseError(f"{name}: fault: there have to be two")
    faults = tuple(_fault(name, measure, table) for table in value)
    if len({fault.kind for fault in faults}) < len(faults):
        raise CaseError(f"{name}: fault: a kind is there twice")
    return faults


def _fault(name: str, measure: str, table: object) -> Possible:
    if not isinstance(table, dict):
        raise CaseError(f"{name}: fault: must be a table")
    _only(f"{name}: fault", table, {"kind", "at", "facts"})
    kind = table.get("kind")
    if kind not in {rule.kind for rule in kinds_of(measure)}:
        raise CaseError(f"{name}: no fault {kind!r}")
    at = table.get("at", 0)
    span = (at, at) if isinstance(at, int) else _span(name, "at", at)
    return Possible(kind, span, _facts(name, table.get("facts", {})))


def _trials(name: str, measure: str, value: object) -> tuple[TrialPlan, ...]:
    if not isinstance(value, list) or not value:
        raise CaseError(f"{name}: trial: there has to be one")
    return tuple(
        _trial(f"{name}: trial {number}", measure, number, table)
        for number, table in enumerate(value, 1)
    )


def _trial(name: str, measure: str, number: int, table: object) -> TrialPlan:
    if not isinstance(table, dict):
        raise CaseError(f"{name}: must be a table")
    _only(name, table, {"wrong", "most"})
    low, high = WRONG
    wrong, most = table.get("wrong"), table.get("most", 1)
    if not isinstance(wrong, int) or not low <= wrong <= high:
        raise CaseError(f"{name}: wrong: must be a whole number, {low} to {high}")
    if most != 1 and (most != 2 or measure not in TOGETHER):
        raise CaseError(f"{name}: most: one thing at a time goes wrong in this test")
    return TrialPlan(number, wrong, most)
