"""Every page of the site is measured, or named with the reason why not."""

import re

from fastapi import FastAPI

from tests.benchmarks.pages import ALSO, ASKED_BY, LEFT_OUT
from tests.web.test_security import addresses

#: Pages a form leads to, measured as the exercise that is begun.
BEGUN = {"/practice/scoring/{showing_id}"}


def as_routed(path: str) -> str:
    return re.sub(r"\{(\w+)", lambda found: "{" + ALSO.get(found[1], found[1]), path)


def test_every_page_is_measured_or_left_out_with_a_reason(app: FastAPI) -> None:
    measured = {as_routed(path) for paths in ASKED_BY.values() for path in paths}
    pages = {path for method, path in addresses(app.routes) if method == "GET"}

    assert (measured | BEGUN) ^ set(LEFT_OUT) == pages - {"/static"}
    assert all(LEFT_OUT.values())
