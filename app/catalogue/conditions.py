"""Limits, cautions and units of a file may name only what its test can have.

A condition on a quantity that is never computed would silently never hold.
"""

from app.catalogue.fields import CatalogueError
from app.clinical.clauses import Clause
from app.clinical.measure import Measure, Row
from app.clinical.quantities import alike

#: Units of quantities that a rule computes beside the score.
PART_UNITS = {
    "diastolic_drop": {"mmHg"}, "lying_systolic": {"mmHg"}, "power": {"W"},
    "standing_systolic": {"mmHg"}, "heart_rate_rise": {"bpm"},
    "hr_sbp_ratio": {"bpm/mmHg"}, "systolic_drop_at_once": {"mmHg"},
    "steps": {"count"}, "sum_of_stages": {"s"},
    "lying_diastolic": {"mmHg"}, "diastolic_drop_at_once": {"mmHg"},
    "systolic_drop_sitting": {"mmHg"}, "diastolic_drop_sitting": {"mmHg"},
    "course_seconds": {"s"},
}  # fmt: skip
#: Parts of a walk there and back that a source timed, by a sensor or on video. A row of
#: one that no mark of ours gives stays unread.
PHASES = (
    "phase_sit_to_stand", "phase_turn_180", "phase_turn_before_sit",
    "phase_stand_to_sit", "phase_walk_both_ways", "phase_walk_out",
)  # fmt: skip


def units_of(m: Measure, quantity: str) -> set[str]:
    """Every unit a quantity of this test comes in; none when it never has it."""
    if quantity == "score":
        return set(m.units)
    units = {p.unit for p in m.pairs if p.quantity == quantity}
    units |= set(m.units) if m.zero and m.zero.quantity == quantity else set()
    units |= {"s"} if quantity in PHASES else set()
    units |= {"s" for phase in m.phases if phase.quantity == quantity}
    units |= {"s" for stage in m.stages if stage.id == quantity}
    units |= {"points" for c in m.components if c.id == quantity}
    units |= {"W/kg" for c in m.components if f"from_{c.measure}" == quantity}
    return units | PART_UNITS.get(quantity, set())


def check_unit(m: Measure, row: Row, where: str) -> None:
    """A row in a unit the score never has would be read by nobody, or fail at it."""
    quantity = row.fit.quantity
    own = units_of(m, quantity)
    if not own:
        raise CatalogueError(f"{where}: quantity: {quantity!r} is never measured")
    unit = getattr(row, "unit", None)
    if unit is not None and not any(alike(unit, each) for each in own):
        raise CatalogueError(f"{where}: unit: {unit!r} is none this quantity has")


def check_limits(m: Measure, row: Row, where: str) -> None:
    """The limits that a row depends on, and what must not have been measured."""
    for clause in (*row.fit.when_any, *row.fit.when_all):
        _check_clause(m, clause, where)
    missing = row.fit.when_missing
    if missing is not None and not units_of(m, missing):
        raise CatalogueError(f"{where}: when_missing: {missing!r} is never measured")


def check_phases(m: Measure, name: str) -> None:
    """A part of a trial lies between moments that are marked."""
    marks = ["start", *m.splits]
    for number, phase in enumerate(m.phases, 1):
        where = f"{name}: phase {number}: stretches"
        for since, to in phase.stretches:
            if since not in marks or to not in marks:
                raise CatalogueError(f"{where}: {since!r} or {to!r} is never marked")
            if marks.index(since) >= marks.index(to):
                raise CatalogueError(f"{where}: {to!r} does not come after {since!r}")


def check_warns(m: Measure, name: str) -> None:
    """A caution hangs on facts, inputs and limits that the test has."""
    inputs = {i.key for i in m.inputs}
    for number, warn in enumerate(m.warns, 1):
        where = f"{name}: warn {number}"
        for key, values in warn.facts.items():
            fact = m.fact(key)
            if fact is None or not set(values) <= set(fact.options):
                raise CatalogueError(f"{where}: facts.{key}: unknown fact or value")
        if not set(warn.inputs) <= inputs:
            raise CatalogueError(f"{where}: inputs: unknown input")
        for clause in warn.any_of:
            _check_clause(m, clause, where)


def _check_clause(m: Measure, clause: Clause, where: str) -> None:
    if clause.unit not in units_of(m, clause.quantity):
        raise CatalogueError(
            f"{where}: {clause.quantity} in {clause.unit} is nothing this test has"
        )
