"""What is read at home reads easily: a Flesch-Kincaid grade of 6.9 at most.

The grade is worked out by textstat from the text as it is printed, every line and every
item of a list being a sentence of its own.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest
import textstat
from selectolax.lexbor import LexborHTMLParser

from app.catalogue.load import catalogue
from app.clinical import home_sheet as words
from app.clinical.activity import Activity
from app.web.home_sheet_view import Practice, SheetPaper, practice
from app.web.home_sheet_view import paper as _paper_of_rows
from tests.conftest import Site

MOST = 6.9
AT_HOME = [a for a in catalogue().activities.values() if a.home is not None]


def grade(sentences: list[str]) -> float:
    ended = [s if s[-1] in ".!?" else f"{s.rstrip(':')}." for s in sentences]
    return float(textstat.flesch_kincaid_grade(" ".join(ended)))


def printed(site: Site, practices: tuple[Practice, ...], **said: str) -> list[str]:
    """Every line of the paper, as its template prints it; the drawing aside."""
    given = {"helper": words.HELPERS["paid_carer"], "change": words.CHANGES["light"]}
    sheet = SheetPaper(practices=practices, strip=words.STRIP, **given | said)
    template = site.templates.get_template("home_sheets/_paper.html")
    page = LexborHTMLParser(template.render(paper=sheet, words=words))
    for drawing in page.css("svg"):
        drawing.decompose()
    lines = [n.text().strip() for n in page.css("h1, h2, h3, p, li, figcaption")]
    return [line for line in lines if line]
