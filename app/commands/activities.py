"""`tapeline activities`: what treatment the catalogue holds, and what blocks it."""

import argparse
import json
from collections.abc import Iterator, Sequence
from typing import Any

from app.catalogue.load import Catalogue, catalogue
from app.clinical.activity import DOMAINS, POSITIONS, UNSUPERVISED, Activity
from app.clinical.activity_search import find
from app.clinical.allowing import Permit, permit
from app.clinical.assistance import LEVELS
from app.clinical.precautions import PRECAUTIONS
from app.commands.refused import Refused
from app.exports.activity_json import activity_json
from app.web import activity_words as words

EXAMPLE = """example:
  tapeline activities --deficit slow_sit_to_stand
  tapeline activities --order hip_post --find reach
  tapeline activities S01
  tapeline activities --json"""
#: What a tag in force makes of an activity, the freest first.
FREE, MIND, REASON, BLOCKED = "allowed", "mind", "reason", "blocked"


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "activities",
        help="list the treatment activities, or show one",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("activity", nargs="?", metavar="ACTIVITY", help="an id like S01")
    p.add_argument("--deficit", metavar="KEY", help="only those that answer it")
    p.add_argument(
        "--order", metavar="TAG", action="append", default=[],
        help="an order or a risk in force: what it blocks, and what stays",
    )  # fmt: skip
    p.add_argument("--find", metavar="WORDS", help="only those with these words")
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    shelf = catalogue()
    _check(shelf, given)
    if given.activity and not given.json:
        _card(shelf, shelf.activities[given.activity.upper()], given.order)
        return 0
    chosen = _chosen(shelf, given)
    if given.json:
        told = [activity_json(a) | _judged(a, given.order) for a in chosen]
        print(json.dumps(told, indent=2))
    elif given.order:
        _by_order(chosen, given.order)
    else:
        for activity in chosen:
            print(_line(activity))
        print(f"{len(chosen)} activities, catalogue edition {shelf.edition}")
    return 0


def _check(shelf: Catalogue, given: argparse.Namespace) -> None:
    """Every name given is one there is."""
    if given.activity:
        if given.activity.upper() not in shelf.activities:
            raise Refused(f"there is no activity {given.activity!r}")
        if given.deficit or given.find is not None:
            raise Refused("give an activity, or what to look for, not both")
    deficits = words.deficit_words(shelf)
    if given.deficit and given.deficit not in deficits:
        raise Refused(
            f"no deficit {given.deficit!r}: one of {', '.join(sorted(deficits))}"
        )
    for tag in given.order:
        if tag not in PRECAUTIONS:
            raise Refused(f"no tag {tag!r}: one of {', '.join(PRECAUTIONS)}")
    if given.find is not None and not given.find.strip():
        raise Refused("--find needs at least one word")


def _chosen(shelf: Catalogue, given: argparse.Namespace) -> list[Activity]:
    if given.activity:
        return [shelf.activities[given.activity.upper()]]
    found = list(shelf.activities.values())
    if given.find is not None:
        found = find(found, given.find, words.deficit_words(shelf))
    if given.deficit:
        found = [a for a in found if given.deficit in a.answers]
    return found


def _line(activity: Activity) -> str:
    return (
        f"{activity.id}  {activity.name}  "
        f"({DOMAINS[activity.domain]}; {POSITIONS[activity.position]})  "
        f"{', '.join(activity.answers)}"
    )


def _state(found: Permit) -> str:
    if found.blocked:
        return BLOCKED
    if found.needs_reason:
        return REASON
    return MIND if found.cautions else FREE


def _judged(activity: Activity, tags: Sequence[str]) -> dict[str, Any]:
    """Under the tags: one word and what brings it. Nothing without tags."""
    if not tags:
        return {}
    found = permit(activity, tags)
    because = [p.tag for p in (*found.orders, *found.risks, *found.cautions)]
    return {"under_order": _state(found), "because": because}


def _by_order(chosen: Sequence[Activity], tags: Sequence[str]) -> None:
    heads = {
        BLOCKED: "Blocked, until the order is changed",
        REASON: "A therapist only, with a reason; never a student",
        MIND: "Allowed with care",
        FREE: "Allowed, nothing said against it",
    }
    print(f"In force: {'; '.join(PRECAUTIONS[tag].label for tag in tags)}")
    found = {a.id: permit(a, tags) for a in chosen}
    for state, head in heads.items():
        here = [a for a in chosen if _state(found[a.id]) == state]
        print(f"\n{head}: {len(here)}")
        for a in here:
            why = words.permit_words(found[a.id])
            print(f"  {a.id}  {a.name}" + (f"  ({why})" if why else ""))


def _card(shelf: Catalogue, a: Activity, tags: Sequence[str]) -> None:
    """One activity as a therapist would read it before going in."""
    print(f"{a.id}  {a.name}")
    for head, said in _card_lines(shelf, a):
        print(f"\n{head}")
        for line in said:
            print(f"  {line}")
    if tags:
        why = words.permit_words(permit(a, tags)) or "nothing said against it"
        print(f"\nUnder {', '.join(tags)}: {why}")


def _card_lines(shelf: Catalogue, a: Activity) -> Iterator[tuple[str, list[str]]]:
    grade, sources = a.grade, shelf.evidence.sources
    named = words.deficit_words(shelf)
    yield "What for", [a.occupation, *(named[key] for key in a.answers)]
    yield (
        "Who",
        [
            f"{DOMAINS[a.domain]}; {POSITIONS[a.position]}",
            a.prerequisite,
            f"at most {LEVELS[a.help].words}; staff at least {a.staff}",
            f"at home: {UNSUPERVISED[a.unsupervised]}",
        ],
    )
    yield "Set up", [a.setup, *map(words.layout_words, a.layouts)]
    yield "Steps", [f"{n}. {step}" for n, step in enumerate(a.steps, 1)]
    yield "Guard", [a.guard]
    rungs = [r.words + ("  <- start" if r.first else "") for r in words.ladder(grade)]
    yield f"Grade: {grade.what}", [*rungs, words.step_words(grade)]
    yield "Easier, harder", [a.easier, a.harder]
    yield (
        "Dose",
        [
            words.dose_words(a),
            f"{words.basis_words(a, sources)} ({words.how_words(a.dose.how)})",
        ],
    )
    for head, tags in words.against(a):
        yield head, [tag.label for tag in tags] or ["none"]
    cited = [sources[key] for key in a.dose.sources]
    yield "Sources", [f"{s.short}: {s.title}" for s in cited] or ["common practice"]
