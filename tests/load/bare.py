"""A bare FastAPI, Jinja and SQLModel app: what a served site is measured against.

python -m tests.load.bare --database sqlite:///bare.sqlite --pages FOLDER

The same uvicorn, packing, database engine, pool and threads as a site's.
`/pages/N.html` renders that file's own text through a template, after one SELECT; a
POST to `/trials` inserts one row in a transaction of its own. Nothing is checked,
signed in or judged.
"""

import argparse
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Annotated

import jinja2
import uvicorn
from anyio import to_thread
from fastapi import FastAPI, Form
from fastapi.responses import HTMLResponse
from sqlalchemy import Engine, MetaData
from sqlmodel import Field, Session, SQLModel, select
from starlette.middleware.gzip import GZipMiddleware

from app.commands.serving import SERVING
from app.settings import Settings
from app.storage.database import make_engine


class Bare(SQLModel):
    metadata = MetaData()


class Kept(Bare, table=True):
    """One row for each POST."""

    __tablename__ = "kept"

    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(unique=True)
    typed: str


def bare_app(engine: Engine, pages: Path, threads: int) -> FastAPI:
    Bare.metadata.create_all(engine)
    texts = {path.name: path.read_text() for path in pages.glob("*.html")}
    template = jinja2.Environment(autoescape=False).from_string("{{ words }}")

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        to_thread.current_default_thread_limiter().total_tokens = threads
        yield

    app = FastAPI(openapi_url=None, lifespan=lifespan)
    app.add_middleware(GZipMiddleware, minimum_size=1024, compresslevel=5)

    @app.get("/healthz")
    def health() -> dict[str, str]:
        return {"status": "ok"}

    @app.get("/pages/{name}")
    def page(name: str) -> HTMLResponse:
        with Session(engine) as session:
            session.exec(select(Kept).limit(1)).first()
        return HTMLResponse(template.render(words=texts[name]))

    @app.post("/trials")
    def save(
        uid: Annotated[str, Form()], typed: Annotated[str, Form()]
    ) -> HTMLResponse:
        with Session(engine) as session:
            session.add(Kept(uid=uid, typed=typed))
            session.commit()
        words = texts.get("saved.html", "saved")
        saved = {"tapeline-saved": uid}
        return HTMLResponse(template.render(words=words), headers=saved)

    return app


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--database", required=True)
    given.add_argument("--pages", type=Path, required=True)
    asked = given.parse_args()
    settings = Settings()
    engine = make_engine(asked.database, settings.connections)
    app = bare_app(engine, asked.pages, settings.threads)
    with socket.create_server(("127.0.0.1", 0), backlog=128) as door:
        print(f"Bare: http://127.0.0.1:{door.getsockname()[1]}/", flush=True)
        uvicorn.Server(uvicorn.Config(app, **SERVING)).run(sockets=[door])


if __name__ == "__main__":
    main()
