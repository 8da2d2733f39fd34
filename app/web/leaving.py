"""The exit list as it is asked: the strip's line with the answers that may be given."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from sqlmodel import Session

from app.clinical.visiting import EXIT_LIST, HAND_OFF_TO, STRIP_STATES
from app.storage.episodes import Visit
from app.storage.strip_counts import counts_in_and_out, refusal
from app.web.deps import Form

_COUNTED: Final = "strip and tape counted in and out"


@dataclass(frozen=True, slots=True)
class ExitLine:
    """One line: what it asks, the answers offered, and why others are not."""

    item: str
    words: str
    answers: Mapping[str, str]
    why_not: tuple[str, ...] = ()
    first: bool = False


def exit_lines(session: Session, visit: Visit) -> list[ExitLine]:
    """Every line in the list's order; with a ligature risk the strip's comes first."""
    lines = [
        _strip_line(session, visit) if item == "strip" else _line(item)
        for item in EXIT_LIST
    ]
    return sorted(lines, key=lambda line: not line.first)


def _line(item: str) -> ExitLine:
    words = EXIT_LIST[item]
    if item == "hand_off":
        answers = {**HAND_OFF_TO, "not_applicable": "nobody to give it to"}
        return ExitLine(item, f"{words} to", answers)
    return ExitLine(item, words, {"done": "done", "not_applicable": "not here"})


def _strip_line(session: Session, visit: Visit) -> ExitLine:
    counted = counts_in_and_out(session, visit)
    refused = {s: refusal(session, visit, s) for s in STRIP_STATES}
    return ExitLine(
        "strip",
        _COUNTED if counted else EXIT_LIST["strip"],
        {s: words for s, words in STRIP_STATES.items() if not refused[s]},
        tuple(why for why in refused.values() if why),
        first=counted,
    )


def read_leaving(
    session: Session, visit: Visit, form: Form, errors: dict[str, str]
) -> dict[str, str]:
    """The answers that may be kept; what may not is said beside its line."""
    states = {}
    for item in EXIT_LIST:
        word = form.text(f"exit-{item}")
        if item == "strip":
            answers: Mapping[str, str] = STRIP_STATES
        else:
            answers = _line(item).answers
        if word in answers:
            states[item] = word
        elif form.text("all") == "done" and "done" in answers:
            states[item] = "done"
    why = refusal(session, visit, states.get("strip", ""))
    if why:
        errors["exit-strip"] = why
        del states["strip"]
    return states
