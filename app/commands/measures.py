"""`tapeline measures`: what is in the catalogue."""

import argparse
import json
from typing import Any

from app.catalogue.load import all_rows, catalogue
from app.clinical.measure import Measure


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "measures",
        help="list the tests of the catalogue",
        epilog="example:\n  tapeline measures --json",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    listed = [describe(m) for m in catalogue().measures.values()]
    if given.json:
        print(json.dumps(listed, indent=2))
        return 0
    for m in listed:
        print(f"{m['id']:26} {m['name']}  ({m['rows']} rows, {m['sources']} sources)")
    print(f"catalogue edition {catalogue().edition}")
    return 0


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
