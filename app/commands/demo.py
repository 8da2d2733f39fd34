"""`tapeline demo`: a site of its own with invented people, made afresh at each start.

Apart from `tapeline serve`, which needs nothing of what makes them.
"""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from tempfile import TemporaryDirectory
from typing import Any

from app.commands.demo_files import read_story
from app.commands.demo_folder import claim_folder
from app.commands.demo_services import name_services
from app.commands.demo_site import build
from app.commands.opening import add_data_option, settings_from, told_plainly
from app.commands.site import (
    address_of,
    address_options,
    listening,
    run_server,
    until_stopped,
    warn_of_share,
)
from app.main import create_app
from app.resources import folder
from app.web.deps import Site


def add(commands: Any) -> None:
    demo = commands.add_parser(
        "demo",
        help="try it out: a site with invented patients, made afresh",
        epilog="example:\n  tapeline demo --port 8766",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    address_options(demo)
    add_data_option(demo, "a folder for the demo; default: a temporary one")
    demo.set_defaults(run=run_demo)


def run_demo(given: argparse.Namespace) -> int:
    with until_stopped(), _demo_folder(given.data_dir) as data:
        # The real site's database and its key stay out of it, whatever the environment
        # says: nobody in a demo is real.
        settings = settings_from(
            given, data_dir=data, database_url="", database_key="",
            database_key_file=None, workers=1, demo=True,
        )  # fmt: skip
        warn_of_share(settings)
        with listening(settings) as door:
            with told_plainly():
                claim_folder(settings.data_dir)
                app = create_app(settings)
            fill_demo(app.state.site)
            print(
                f"Tapeline demo: {address_of(settings, door)}  (everybody in it is "
                "invented; made afresh at each start; Ctrl-C stops it)",
                flush=True,
            )
            run_server(app, door)
    return 0


@contextmanager
def _demo_folder(wanted: str | None) -> Iterator[str]:
    """The folder asked for, which stays, or a temporary one, which does not."""
    if wanted is not None:
        yield wanted
        return
    with TemporaryDirectory(prefix="tapeline-demo-") as made:
        yield made


def fill_demo(site: Site) -> None:
    """Everybody and everything of the demo, into an empty site."""
    story = read_story(folder("demo_data"), site.catalogue)
    build(site.engine, site.catalogue, story, now=site.clock(), zone=site.zone)
    name_services(site.engine, folder("demo_data"), site.clock())
