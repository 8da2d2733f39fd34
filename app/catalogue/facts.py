"""Set-up facts: what has to be said of how a test was set up, read strictly."""

from app.catalogue import rows
from app.catalogue.fields import Table
from app.clinical import vocabulary as words
from app.clinical.measure import Fact, Span

KINDS = ("time", "distance", "count", "speed", "stages", "pressure", "composite")


def spans(t: Table, key: str) -> dict[str, Span]:
    inner = Table(t.table(key), f"{t.where}: {key}")
    found = {}
    for unit in rows.UNITS:
        pair = inner.interval(unit)
        if pair:
            found[unit] = Span(*pair)
    inner.done()
    return found


def fact(t: Table) -> Fact:
    options = {k: v[0] for k, v in t.lists("options").items()}
    made = Fact(
        key=t.text("key"),
        label=t.text("label"),
        kind=t.word("kind", ("choice", "length", "number")),  # type: ignore[arg-type]
        options=options,
        default=t.word("default", options) if t.has("default") else None,
        standard=t.words("standard", options),
        spans=spans(t, "spans"),
        standard_says=t.text("standard_says", ""),
        for_change=t.flag("for_change", True),
        easier=t.words("easier", (*options, "over", "under")),
        when_condition=t.words("when_condition", words.CONDITIONS),
        main=t.flag("main"),
        needed=t.flag("needed"),
        kinds=t.words("kinds", KINDS),
        help=t.text("help", ""),
    )
    if (made.kind == "choice") != bool(options):
        raise t.wrong("options", "a choice has options, a length or number has none")
    if (made.standard or made.spans) and not made.standard_says:
        raise t.wrong("standard_says", "say the published set-up in words")
    t.done()
    return made
