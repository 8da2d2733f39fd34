"""Plain http from another machine: what little it opens, and what is said instead.

What travels that way can be read and changed on its way, so nobody signs in over it.
"""

from typing import Final

from starlette.types import Scope

from app.lan.place import Place
from app.settings import Settings, is_address
from app.web.deps import is_this_machine
from app.web.errors import UNCHANGED, Problem

#: Of nobody and for everybody: how to trust the site, its certificate, pages' looks,
#: and whether it is up.
OPEN: Final = ("/trust", "/static", "/healthz")
TITLE: Final = "This address is not secure"
WHY: Final = (
    "You came by plain http from another machine. Others on the network can read and "
    "change what is sent that way, so there is no sign-in here."
)


def is_plain_from_elsewhere(scope: Scope, settings: Settings) -> bool:
    """Whether a request crossed a network without TLS; a proxy in front speaks it."""
    if scope["scheme"] == "https" or settings.secure_cookies:
        return False
    client, *_ = scope.get("client") or ("",)
    return is_address(client) and not is_this_machine(client)


def is_open(path: str, settings: Settings) -> bool:
    """Whether plain http opens this path. In a demo all do: it is invented."""
    within = any(path == o or path.startswith(f"{o}/") for o in OPEN)
    return settings.demo or within


def turned_away(path: str, lan: Place | None) -> Problem:
    """The start explains itself; whatever else was asked for is refused."""
    status = 200 if path == "/" else 403
    if lan is None:
        then = (
            "Who runs this site can start it with `tapeline serve --lan`, or put a "
            "server that speaks TLS in front of it and set TAPELINE_SECURE_COOKIES."
        )
        return Problem(status, TITLE, WHY, UNCHANGED, then, None)
    then = (
        f"Open {lan.urls[0]} in its place. A phone that does not trust this site yet "
        "is shown how on the next page."
        if lan.urls
        else "There is no secure address just now. Ask who runs this site."
    )
    link = ("/trust", "Trust this site on your phone")
    return Problem(status, TITLE, WHY, UNCHANGED, then, link)
