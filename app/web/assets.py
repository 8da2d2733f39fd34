"""Static files under an address that changes whenever one of them does.

One hash stands for the whole folder, so that scripts and styles may name each other by
relative paths and still never meet another edition's file.
"""

import hashlib
from pathlib import Path, PurePath

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

FOR_EVER = "public, max-age=31536000, immutable"


class Assets(StaticFiles):
    """The static folder, served as /static/<edition>/<name>."""

    def __init__(self, folder: Path) -> None:
        super().__init__(directory=folder)
        files = sorted(p for p in folder.rglob("*") if p.is_file())
        self.names = frozenset(p.relative_to(folder).as_posix() for p in files)
        digest = hashlib.sha256()
        for file in files:
            digest.update(file.as_posix().encode() + b"\0" + file.read_bytes())
        self.edition = digest.hexdigest()[:12]

    def url(self, name: str) -> str:
        """The address of a file, for templates; a name that is not there is a fault."""
        if name not in self.names:
            raise LookupError(f"no static file {name!r}")
        return f"/static/{self.edition}/{name}"

    async def get_response(self, path: str, scope: Scope) -> Response:
        edition, *rest = PurePath(path).parts or ("",)
        response = await super().get_response(str(PurePath(*rest)), scope)
        # A page from before an update still gets its style, but must ask again.
        kept = FOR_EVER if edition == self.edition else "no-cache"
        response.headers["cache-control"] = kept
        return response
