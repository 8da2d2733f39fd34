"""What is read at home reads easily: a Flesch-Kincaid grade of 6.9 at most.

The grade is worked out by textstat from the text as it is printed, every line and every
item of a list being a sentence of its own.
"""

import pytest
import textstat
from selectolax.lexbor import LexborHTMLParser

from app.catalogue.load import catalogue
from app.clinical import home_sheet as words
from app.clinical.activity import Activity
from app.web.deps import Site
from app.web.home_sheet_view import Practice, SheetPaper, practice

MOST = 6.9
AT_HOME = [a for a in catalogue().activities.values() if a.home is not None]


def grade(sentences: list[str]) -> float:
    ended = [s if s[-1] in ".!?" else f"{s.rstrip(':')}." for s in sentences]
    return float(textstat.flesch_kincaid_grade(" ".join(ended)))


def printed(
    site: Site,
    practices: tuple[Practice, ...],
    *,
    strip: str = words.STRIP,
    change: str = words.CHANGES["light"],
) -> list[str]:
    """Every line of the paper, as its template prints it; the drawing aside."""
    helper = words.HELPERS["paid_carer"]
    sheet = SheetPaper(practices=practices, helper=helper, change=change, strip=strip)
    template = site.templates.get_template("home_sheets/_paper.html")
    page = LexborHTMLParser(template.render(paper=sheet, words=words))
    for drawing in page.css("svg"):
        drawing.decompose()
    lines = [n.text().strip() for n in page.css("h1, h2, h3, p, li, figcaption")]
    return [line for line in lines if line]


def test_a_hard_text_would_be_found() -> None:
    hard = "Discontinue immediately upon experiencing cardiovascular symptomatology."

    assert grade([hard]) > MOST


@pytest.mark.parametrize("strip", [words.STRIP, words.NO_STRIP])
@pytest.mark.parametrize(
    "change", [c for k, c in words.CHANGES.items() if k != "other"]
)
def test_what_every_sheet_says_reads_easily(
    site: Site, strip: str, change: str
) -> None:
    lines = printed(site, (), strip=strip, change=change)

    assert words.CALL_NOW[1][0] in lines
    assert grade(lines) <= MOST
    assert grade([change]) <= MOST


@pytest.mark.parametrize("activity", AT_HOME, ids=lambda a: a.id)
def test_sheet_of_an_activity_reads_easily(site: Site, activity: Activity) -> None:
    """Its own words by themselves too, so that easy lines beside them hide nothing."""
    said = practice(activity, activity.grade.start, activity.dose.sets, 5)
    alone = [said.name, *said.steps]

    assert grade(printed(site, (said,))) <= MOST
    assert grade(alone) <= MOST
