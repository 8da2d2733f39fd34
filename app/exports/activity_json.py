"""An activity as plain values: every number is a text, as it is shown."""

from typing import Any

from app.clinical.activity import Activity
from app.clinical.quantities import plain
from app.clinical.strip import Layout


def activity_json(activity: Activity) -> dict[str, Any]:
    """One activity of the catalogue; keys stay as they are once released."""
    a = activity
    return {
        "id": a.id,
        "name": a.name,
        "other_names": list(a.other_names),
        "domain": a.domain,
        "position": a.position,
        "least": a.least,
        "help": a.help,
        "staff": str(a.staff),
        "answers": list(a.answers),
        "must_not": list(a.must_not),
        "caution": list(a.caution),
        "holds_strip": a.holds_strip,
        "grade": _grade(a),
        "dose": _dose(a),
        "count": list(a.count),
        "needs": list(a.needs),
        "unsupervised": a.unsupervised,
        "layouts": [_layout(layout) for layout in a.layouts],
        "icf": list(a.icf),
        "sources": list(a.dose.sources),
    }


def _grade(a: Activity) -> dict[str, Any]:
    return {
        "what": a.grade.what,
        "unit": a.grade.unit,
        "start": plain(a.grade.start),
        "step": plain(a.grade.step),
        "easiest": plain(a.grade.easiest),
        "hardest": plain(a.grade.hardest),
        "dimension": a.grade.dimension,
        "rungs": list(a.grade.rungs),
    }


def _dose(a: Activity) -> dict[str, Any]:
    return {
        "sets": str(a.dose.sets),
        "amount": a.dose.amount,
        "rest_s": str(a.dose.rest_s),
        "set_s": str(a.dose.set_s),
        "target": None if a.dose.target is None else str(a.dose.target),
        "target_of": a.dose.target_of or None,
        "basis": a.dose.basis,
        "how": a.dose.how,
        "minutes": str(a.minutes),
    }


def _layout(layout: Layout) -> dict[str, Any]:
    sizes = ("length", "gap", "side", "radius", "round")
    told = {name: getattr(layout, name) for name in sizes}
    return {
        "shape": layout.shape,
        "where": layout.where,
        **{name: plain(size) for name, size in told.items() if size is not None},
        "zero": layout.zero or None,
        "marks": [plain(mark) for mark in layout.marks],
        "graded": layout.graded or None,
        "note": layout.note,
    }
