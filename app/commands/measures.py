"""`tapeline measures`: what is in the catalogue."""

import argparse
import json
from typing import Any, Final

from app.catalogue.load import all_rows, catalogue
from app.clinical.measure import Measure


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "measures",
        help="list the tests of the catalogue",
        epilog="example:\n  tapeline measures --json\n  tapeline measures --coverage",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("--json", action="store_true")
    p.add_argument(
        "--coverage",
        action="store_true",
        help="which kinds of row each test has for each condition, and how many of "
        "them are unconfirmed",
    )
    p.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    if given.coverage:
        return _coverage(as_json=given.json)
    listed = [describe(m) for m in catalogue().measures.values()]
    if given.json:
        print(json.dumps(listed, indent=2))
        return 0
    for m in listed:
        print(f"{m['id']:26} {m['name']}  ({m['rows']} rows, {m['sources']} sources)")
    print(f"catalogue edition {catalogue().edition}")
    return 0


#: The tables of a measure, and the letter each has in the coverage.
TABLES: Final = {
    "norms": "n", "cutoffs": "c", "unable": "u", "reliability": "e",
    "important_change": "i",
}  # fmt: skip


def coverage(m: Measure) -> dict[str, dict[str, dict[str, int]]]:
    """{condition: {table: {rows, unconfirmed}}} of one test; only what there is."""
    found: dict[str, dict[str, dict[str, int]]] = {}
    for table in TABLES:
        for row in getattr(m, table):
            cell = found.setdefault(row.fit.condition, {}).setdefault(
                table, {"rows": 0, "unconfirmed": 0}
            )
            cell["rows"] += 1
            cell["unconfirmed"] += row.how == "memory"
    return found


def _coverage(*, as_json: bool) -> int:
    shelf = catalogue().measures.values()
    if as_json:
        told = [{"id": m.id, "conditions": coverage(m)} for m in shelf]
        print(json.dumps(told, indent=2))
        return 0
    print("n norms, c cut-offs, u unable, e error of repeating, i important change;")
    print("a number after + is unconfirmed; what is not listed does not exist.")
    for m in shelf:
        print(f"\n{m.id}")
        for condition, tables in sorted(coverage(m).items()):
            cells = [_cell(TABLES[t], **tables[t]) for t in TABLES if t in tables]
            print(f"  {condition:28} {'  '.join(cells)}")
    return 0


def _cell(letter: str, *, rows: int, unconfirmed: int) -> str:
    known = rows - unconfirmed
    return f"{letter} {known}" + (f"+{unconfirmed}" if unconfirmed else "")


def describe(m: Measure) -> dict[str, Any]:
    """One measure as plain values."""
    return {
        "id": m.id,
        "name": m.name,
        "other_names": list(m.other_names),
        "purpose": m.purpose,
        "domain": m.domain,
        "icf": list(m.icf),
        "kind": m.kind,
        "units": list(m.units),
        "better": m.better,
        "minutes": m.minutes,
        "variants": [
            {"id": v.id, "label": v.label, "trials": v.of} for v in m.variants
        ],
        "facts": {f.key: list(f.options) if f.options else f.kind for f in m.facts},
        "inputs": [i.key for i in m.inputs],
        "must_not": list(m.must_not),
        "caution": list(m.caution),
        "rows": len(all_rows(m)),
        "sources": len(m.sources),
        "edition": catalogue().edition,
    }
