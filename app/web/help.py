"""Help on each screen, the keyboard map, and what each version changed."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.storage.errors import NotFound
from app.web.deps import SignedIn, page
from app.web.help_topics import keyboard, releases, topics

router = APIRouter()


@router.get("/help")
def index(request: Request, _me: SignedIn) -> HTMLResponse:
    """Every topic by its title, and the keys."""
    return page(
        request, "help/index.html", topics=topics().values(), keyboard=keyboard()
    )


@router.get("/help/changes")
def changes(request: Request, _me: SignedIn) -> HTMLResponse:
    """What each version changed, the newest first."""
    return page(request, "help/changes.html", releases=releases())


@router.get("/help/{topic}")
def show(request: Request, _me: SignedIn, topic: str) -> HTMLResponse:
    """One topic."""
    found = topics().get(topic)
    if found is None:
        raise NotFound
    return page(request, "help/topic.html", topic=found, keyboard=keyboard())
