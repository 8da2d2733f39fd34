"""Scoring practice: an invented case, one step a screen, the answer after the answer.

Each person's own: nothing here is shown to anybody else, and no patient is touched.
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.measure import Measure
from app.clinical.quantities import BadNumber
from app.practice.asking import NONE, Step, grade, knows, read_score
from app.practice.battery_case import makes
from app.practice.exercises import (
    TRIES,
    Exercise,
    edition,
    exercise,
    exercise_about,
    takes,
)
from app.practice.rules import LEVELS, RULES, next_level, next_rule, weights
from app.practice.scoring_case import person_words, setup_words
from app.storage.exercises import (
    LARGEST_SEED,
    ExerciseAnswer,
    ExerciseShowing,
    answer,
    answers_in,
    finished_of,
    history_of,
    show,
    showing_for,
    unfinished_of,
)
from app.storage.people import Person
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    Site,
    SiteDep,
    WriteSession,
    page,
)

router = APIRouter()
LEVEL_WORDS: Final = {
    1: "1: one thing at a time",
    2: "2: voided and unable trials",
    3: "3: other set-ups, trials missing",
    4: "4: all of it",
}
#: How many rules to look at again are named.
_AGAIN: Final = 3


@dataclass(frozen=True, slots=True)
class Told:
    """A step that was answered: what was said, and what is right."""

    step: Step
    kept: ExerciseAnswer

    @property
    def chosen(self) -> frozenset[str]:
        """Ids of what was chosen; of a score whether it was a number."""
        return frozenset(self.kept.said.partition(":")[0].split(","))

    @property
    def number(self) -> str:
        return self.kept.said.partition(":")[2]


@router.get("/practice/scoring")
def choose(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep
) -> HTMLResponse:
    return _choose_page(request, session, site, me, Form(), {})


def _choose_page(
    request: Request,
    session: Session,
    site: Site,
    me: Person,
    typed: Form,
    errors: dict[str, str],
) -> HTMLResponse:
    history, done = history_of(session, me), finished_of(session, me)
    level = next_level(done)
    return page(
        request,
        "exercises/choose.html",
        status=422 if errors else 200,
        measures=_measures(site).values(),
        levels=tuple((str(n), LEVEL_WORDS[n]) for n in LEVELS),
        level=typed.text("level") or str(level),
        typed=typed,
        errors=errors,
        done=len(done),
        again=_weakest(history),
        unfinished=unfinished_of(session, me, edition(site.catalogue.edition)),
    )


def _measures(site: Site) -> dict[str, Measure]:
    shelf = site.catalogue.measures
    able = (m for m in shelf.values() if takes(m))
    return {m.id: m for m in able if not m.components or makes(m, shelf)}


def _weakest(history: list[tuple[str, bool]]) -> list[str]:
    """The rules missed lately, the most often missed first."""
    missed = {rule for rule, right in history if not right and rule in RULES}
    weighed = weights(history)
    worst = sorted((r for r in missed if weighed[r] > 1), key=lambda r: -weighed[r])
    return [RULES[rule].says for rule in worst[:_AGAIN]]


@router.post("/practice/scoring", response_model=None)
def begin(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
) -> Response:
    """Draw an exercise and keep which, before anything of it is shown."""
    measures = _measures(site)
    chosen, level = form.text("measure"), form.text("level")
    errors = {}
    if chosen and chosen not in measures:
        errors["measure"] = "Choose one of the tests, or any."
    if level not in {str(n) for n in LEVELS}:
        errors["level"] = "Choose a level from 1 to 4."
    if errors:
        return _choose_page(request, session, site, me, form, errors)
    chance = secrets.randbelow(10**6) / 10**6
    rule = next_rule(history_of(session, me), chance, int(level))
    pool = [measures[chosen]] if chosen else list(measures.values())
    seed = secrets.randbelow(LARGEST_SEED - TRIES)
    made = exercise_about(rule, pool, int(level), seed, site.catalogue.measures)
    row = show(
        session,
        me,
        seed=made.seed,
        measure=made.case.measure.id,
        level=made.level,
        edition=edition(site.catalogue.edition),
        rule=rule,
        steps=len(made.steps),
        now=now,
    )
    return RedirectResponse(f"/practice/scoring/{row.id}", 303)


@router.get("/practice/scoring/{showing_id}")
def step(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    showing_id: RowId,
) -> HTMLResponse:
    """The next step; `?step=` one that was answered; the end when all were."""
    row = showing_for(session, me, showing_id)
    kept = answers_in(session, row)
    made = _made(site, row)
    if made is None:
        return page(request, "exercises/stale.html", row=row, kept=kept, rules=RULES)
    told = {key: Told(s, kept[key]) for s in made.steps if (key := s.key) in kept}
    asked = request.query_params.get("step", "")
    if asked in told:
        return _told_page(request, row, made, told, asked)
    following = _following(made, kept)
    if following is not None:
        return _question(request, row, made, following, Form(), {})
    level = next_level(finished_of(session, me))
    return page(
        request,
        "exercises/done.html",
        row=row,
        made=made,
        told=told,
        rules=RULES,
        level=level,
        level_words=LEVEL_WORDS[level],
    )


def _made(site: Site, row: ExerciseShowing) -> Exercise | None:
    """The exercise again; None when the catalogue or the making of it has changed."""
    measure = _measures(site).get(row.measure)
    if measure is None or row.edition != edition(site.catalogue.edition):
        return None
    return exercise(measure, row.level, row.seed, site.catalogue.measures)


def _following(made: Exercise, kept: Mapping[str, ExerciseAnswer]) -> Step | None:
    return next((s for s in made.steps if s.key not in kept), None)


def _told_page(
    request: Request,
    row: ExerciseShowing,
    made: Exercise,
    told: Mapping[str, Told],
    asked: str,
) -> HTMLResponse:
    return page(
        request,
        "exercises/told.html",
        row=row,
        made=made,
        told=told[asked],
        rule=RULES[told[asked].kept.rule].says,
        place=list(told).index(asked) + 1,
        last=_following(made, {k: t.kept for k, t in told.items()}) is None,
    )


def _question(
    request: Request,
    row: ExerciseShowing,
    made: Exercise,
    asked: Step,
    typed: Form,
    errors: dict[str, str],
) -> HTMLResponse:
    """Nothing of the key is handed to the template: neither which is right, nor why."""
    case = made.case
    return page(
        request,
        "exercises/show.html",
        status=422 if errors else 200,
        row=row,
        measure=case.measure,
        place=[s.key for s in made.steps].index(asked.key) + 1,
        of=len(made.steps) if asked.key not in ("trials", "score", "set_up") else 0,
        person=person_words(case.person),
        setup=setup_words(case.measure, case.facts).split(" · "),
        tried=[t.told for t in case.tried],
        rule=case.variant.label,
        key=asked.key,
        ask=asked.ask,
        help=asked.help,
        kind=asked.kind,
        shown=asked.shown,
        options=[(o.id, o.words) for o in asked.options],
        unit="" if case.measure.units[0] == "count" else _unit(made, asked),
        typed=typed,
        errors=errors,
    )


def _unit(made: Exercise, asked: Step) -> str:
    """The unit a number is typed in: of a score, and told of every kind of result."""
    return asked.unit if asked.number is not None else made.case.measure.units[0]


@router.post("/practice/scoring/{showing_id}", response_model=None)
def say(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    showing_id: RowId,
) -> Response:
    row = showing_for(session, me, showing_id)
    made = _made(site, row)
    here = f"/practice/scoring/{row.id}"
    if made is None:
        return RedirectResponse(here, 303)
    kept = answers_in(session, row)
    asked = made.step(form.text("step"))
    if asked is None:
        raise FormProblem("This exercise has no such step. Open it again.")
    if asked.key in kept:  # the first answer stands, also after Back
        return RedirectResponse(f"{here}?step={asked.key}", 303)
    if _following(made, kept) is not asked:
        return RedirectResponse(here, 303)
    said, errors = _said(asked, form)
    if errors:
        return _question(request, row, made, asked, form, errors)
    graded = grade(asked, said, row.rule)
    answer(
        session,
        row,
        step=asked.key,
        said=said,
        right=graded.right,
        rule=graded.rule,
        now=now,
    )
    return RedirectResponse(f"{here}?step={asked.key}", 303)


def _said(asked: Step, form: Form) -> tuple[str, dict[str, str]]:
    """The answer in one form, or what is wrong with it."""
    chosen = form.every("said")
    if asked.kind == "score" and not chosen and form.text("number"):
        chosen = ("number",)  # typing one says that there is one
    said = ",".join(chosen)
    if not chosen:
        return "", {"said": "Choose an answer first."}
    if NONE in chosen and len(chosen) > 1:
        return "", {"said": "None of them, or some of them? Choose one."}
    if not knows(asked, said):
        return "", {"said": "Choose one of the answers shown."}
    if asked.kind == "score":
        try:
            return read_score(asked, said, form.text("number")), {}
        except BadNumber as bad:
            return "", {"number": str(bad)}
    return said, {}
