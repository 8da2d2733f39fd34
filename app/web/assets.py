"""Static files under an address that changes whenever one of them does.

One hash stands for the whole folder, so that scripts and styles may name each other by
relative paths and still never meet another edition's file. The pages' modules are
served as one file without comments, and those that only some pages have as another.
All text is compressed once, at start: a phone on a poor network pays by the byte and by
the request.
"""

import gzip
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path, PurePath
from typing import Final

import brotli
from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from app.web.joined import Start, joined

FOR_EVER: Final = "public, max-age=31536000, immutable"
#: Where the pages' modules lie, and which of them starts, in the file of every page.
MODULES: Final = "js"
START: Final = Start("bind", "pages")
#: What is asked for only where a page has it, and the file that holds it; "pack" is
#: named by its pages themselves, since it is off at most sites.
ON_DEMAND: Final = {
    "aloud": "treat",
    "attach": "sheet",
    "bedside": "sheet",
    "dose_box": "note",
    "figure": "figure",
    "grow": "note",
    "held_run": "sheet",
    "helper": "helping",
    "helping": "helping",
    "minutes": "note",
    "note": "note",
    "pack": "pack",
    "pack_guard": "pack",
    "practice_page": "practice",
    "practised": "figure",
    "rest_tool": "treat",
    "stages": "watch",
    "standing": "watch",
    "stopwatch_bind": "watch",
    "tools": "treat",
    "undo": "watch",
}
#: What shrinks; pictures are compressed in themselves.
TEXTS: Final = {
    ".js": "text/javascript",
    ".css": "text/css",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}


@dataclass(frozen=True)
class Text:
    """One text file as it is served; `body` is what its edition is made from."""

    body: bytes
    media_type: str

    @cached_property
    def packed(self) -> dict[str, bytes]:
        """By content coding, the smaller first."""
        return {
            "br": brotli.compress(self.body, mode=brotli.MODE_TEXT),
            "gzip": gzip.compress(self.body, mtime=0),
        }

    def answer(self, accepted: str) -> Response:
        codings = [part.partition(";")[0].strip() for part in accepted.split(",")]
        headers = {"vary": "accept-encoding"}
        coding = next((c for c in self.packed if c in codings), None)
        if coding:
            headers["content-encoding"] = coding
        body = self.packed[coding] if coding else self.body
        return Response(body, media_type=self.media_type, headers=headers)


class Assets(StaticFiles):
    """The static folder, served as /static/<edition>/<name>."""

    def __init__(self, folder: Path) -> None:
        super().__init__(directory=folder)
        self.texts = dict(_texts(folder))
        digest = hashlib.sha256()
        others = {
            file.relative_to(folder).as_posix(): file.read_bytes()
            for file in folder.rglob("*")
            if file.is_file() and file.suffix not in TEXTS
        }
        served = others | {name: text.body for name, text in self.texts.items()}
        for name, body in sorted(served.items()):
            digest.update(name.encode() + b"\0" + body)
        self.names = frozenset(served)
        self.edition = digest.hexdigest()[:12]

    def url(self, name: str) -> str:
        """The address of a file, for templates; a name that is not there is a fault."""
        if name not in self.names:
            raise LookupError(f"no static file {name!r}")
        return f"/static/{self.edition}/{name}"

    async def get_response(self, path: str, scope: Scope) -> Response:
        edition, *rest = PurePath(path).parts or ("",)
        name = str(PurePath(*rest))
        text = self.texts.get(PurePath(*rest).as_posix())
        if text is not None and scope["method"] == "GET":
            response = text.answer(Headers(scope=scope).get("accept-encoding", ""))
        else:
            response = await super().get_response(name, scope)
        # A page from before an update still gets its style, but must ask again.
        kept = FOR_EVER if edition == self.edition else "no-cache"
        response.headers["cache-control"] = kept
        return response


def _texts(folder: Path) -> Iterator[tuple[str, Text]]:
    modules = {file.stem: file.read_text("utf-8") for file in folder.glob("js/*.js")}
    if modules:
        for name, script in joined(modules, START, ON_DEMAND).items():
            yield f"{MODULES}/{name}.js", Text(script.encode(), TEXTS[".js"])
    for file in folder.rglob("*"):
        if file.suffix in TEXTS and file.parent != folder / MODULES:
            name = file.relative_to(folder).as_posix()
            yield name, Text(file.read_bytes(), TEXTS[file.suffix])
