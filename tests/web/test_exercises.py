"""Scoring practice through its pages, as a browser without script does it."""

import re
import secrets

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.practice.asking import NONE, Step
from app.practice.exercises import Exercise, edition, exercise, takes
from app.practice.rules import RULES
from app.storage import exercises
from app.storage.database import read_session, write_session
from app.storage.exercises import ExerciseAnswer, ExerciseShowing
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import make_showing

HOME = "/practice/scoring"


def given(
    site: Site, seed: int, measure: str, level: int, who: str = "therapist"
) -> str:
    """An exercise of a known seed, as if it had been drawn."""
    with write_session(site.engine) as session:
        me = person_by(session, who)
        made = exercise(site.catalogue.measures[measure], level, seed,
                        site.catalogue.measures)  # fmt: skip
        row = exercises.show(
            session, me, seed=seed, measure=measure, level=level,
            edition=edition(site.catalogue.edition), rule="rounding",
            steps=len(made.steps), now=site.clock(),
        )  # fmt: skip
        return f"{HOME}/{row.id}"


def made_of(site: Site, seed: int, measure: str, level: int) -> Exercise:
    shelf = site.catalogue.measures
    return exercise(shelf[measure], level, seed, shelf)


def answer_of(step: Step, *, right: bool = True) -> dict[str, object]:
    """A right answer as its form sends it, or a wrong one."""
    chosen = [o.id for o in step.options if o.right == right]
    if step.kind == "many":
        return {"step": step.key, "said": chosen or [NONE]}
    number = str(step.number) if step.number is not None and right else ""
    return {"step": step.key, "said": chosen[0], "number": number}


def words(client: TestClient, address: str) -> str:
    return " ".join(found(client.get(address).text, "main").text().split())


def said(site: Site) -> list[tuple[str, bool, str]]:
    with read_session(site.engine) as session:
        rows = session.exec(select(ExerciseAnswer).order_by(col(ExerciseAnswer.id)))
        return [(r.step, r.right, r.rule) for r in rows]


def test_exercise_is_drawn_and_kept_before_it_is_shown(
    therapist: TestClient, site: Site
) -> None:
    answer = therapist.post(HOME, data={"level": "2", "measure": "four_square_step"})

    assert answer.status_code == 303
    with read_session(site.engine) as session:
        (row,) = session.exec(select(ExerciseShowing)).all()
        assert answer.headers["location"] == f"{HOME}/{row.id}"
        assert (row.level, row.measure) == (2, "four_square_step")
        assert row.rule in RULES
    assert "Which trials make the result?" in words(therapist, f"{HOME}/{row.id}")


@pytest.mark.parametrize(
    ("measure", "level", "seed"),
    [("five_times_sit_to_stand", 1, 4), ("functional_reach", 4, 21),
     ("four_stage_balance", 3, 9), ("gait_speed", 2, 8),
     ("thirty_second_chair_stand", 4, 10), ("orthostatic_vitals", 2, 6),
     ("short_physical_performance_battery", 2, 3)],
)  # fmt: skip
def test_key_is_in_no_page_before_its_answer(
    therapist: TestClient, site: Site, measure: str, level: int, seed: int
) -> None:
    """Neither reasons nor rules nor the seed, and no option's source stands out."""
    seed = 1_900_000_000 + seed  # long enough to be told from other numbers
    here, made = given(site, seed, measure, level), made_of(site, seed, measure, level)
    for step in made.steps:
        html = therapist.get(here).text
        reasons = {step.because, *(o.why for o in step.options), *RULES}
        assert step.ask in html
        assert str(seed) not in html
        assert not [r for r in reasons - {""} if r in html]
        assert not [r.says for r in RULES.values() if r.says in html]
        assert len(set(bare_options(html, step))) == 1

        therapist.post(here, data=answer_of(step))

    assert f"{len(made.steps)} of {len(made.steps)} right" in words(therapist, here)


def bare_options(html: str, step: Step) -> list[str]:
    """The source of each option without its words and id; that of `none` left out."""
    inputs = re.findall(r'<input type="(?:radio|checkbox)" name="said"[^>]*>', html)
    bare = [re.sub(r'value="[^"]*"', "", one) for one in inputs]
    assert len(bare) == len(step.options) + (step.kind == "many")
    return bare


def test_steps_follow_each_other_and_the_reason_comes_after(
    therapist: TestClient, site: Site
) -> None:
    here = given(site, 5, "timed_up_and_go", 1)
    made = made_of(site, 5, "timed_up_and_go", 1)
    for step in made.steps:
        wrong = step.key == "set_up"
        answer = therapist.post(here, data=answer_of(step, right=not wrong))

        assert answer.headers["location"] == f"{here}?step={step.key}"
        told = words(therapist, answer.headers["location"])
        assert " ".join(step.because.split()) in told
        assert ("Not right" in told) == wrong
    end = words(therapist, here)
    assert f"{len(made.steps) - 1} of {len(made.steps)} right" in end
    assert RULES[made.steps[2].rule].says in end
    assert RULES[made.steps[2].rule].says in words(therapist, HOME)
    assert [right for _, right, _ in said(site)].count(False) == 1


def test_first_answer_stands_and_no_step_is_left_out(
    therapist: TestClient, site: Site
) -> None:
    here = given(site, 5, "timed_up_and_go", 1)
    steps = made_of(site, 5, "timed_up_and_go", 1).steps

    ahead = therapist.post(here, data=answer_of(steps[1]))
    therapist.post(here, data=answer_of(steps[0], right=False))
    therapist.post(here, data=answer_of(steps[0]))
    peek = therapist.get(f"{here}?step=line").text

    assert ahead.headers["location"] == here
    assert [(step, right) for step, right, _ in said(site)] == [("trials", False)]
    assert steps[1].ask in peek
    assert steps[1].because not in peek


@pytest.mark.parametrize(
    ("sent", "says", "field"),
    [
        ({"said": "number", "number": "16,2"}, "write a point", "#number-error"),
        ({"said": "number", "number": ""}, "Nothing was entered", "#number-error"),
        ({}, "Choose an answer first", "#said-error"),
        ({"number": "about 16"}, "not a plain number", "#number-error"),
        ({"said": "maybe"}, "one of the answers shown", "#said-error"),
    ],
)
def test_what_cannot_be_read_is_said_beside_it_and_stays(
    therapist: TestClient, site: Site, sent: dict[str, str], says: str, field: str
) -> None:
    here = given(site, 5, "timed_up_and_go", 1)
    therapist.post(
        here, data=answer_of(made_of(site, 5, "timed_up_and_go", 1).steps[0])
    )

    answer = therapist.post(here, data={"step": "score", **sent})

    assert answer.status_code == 422
    assert says in found(answer.text, field).text()
    typed = found(answer.text, "#number").attributes["value"] or ""
    assert typed == sent.get("number", "")
    assert len(said(site)) == 1


def test_typed_number_alone_is_an_answer(therapist: TestClient, site: Site) -> None:
    here = given(site, 5, "timed_up_and_go", 1)
    steps = made_of(site, 5, "timed_up_and_go", 1).steps
    therapist.post(here, data=answer_of(steps[0]))

    therapist.post(here, data={"step": "score", "number": str(steps[1].number)})

    assert said(site)[-1][:2] == ("score", True)


def test_none_and_some_trials_is_no_answer(therapist: TestClient, site: Site) -> None:
    here = given(site, 5, "timed_up_and_go", 1)

    answer = therapist.post(here, data={"step": "trials", "said": ["1", NONE]})

    assert answer.status_code == 422
    assert "Choose one" in found(answer.text, "#said-error").text()


def test_form_of_start_keeps_what_was_chosen(therapist: TestClient) -> None:
    answer = therapist.post(HOME, data={"level": "9", "measure": "turn_360"})

    assert answer.status_code == 422
    chosen = found(answer.text, "#measure option[selected]")
    assert chosen.attributes["value"] == "turn_360"
    assert therapist.post(HOME, data={"level": "1", "measure": "x"}).status_code == 422


def test_nobody_else_is_told_of_it(
    therapist: TestClient, supervisor: TestClient, site: Site
) -> None:
    here = given(site, 5, "timed_up_and_go", 1)
    step = made_of(site, 5, "timed_up_and_go", 1).steps[0]
    therapist.post(here, data=answer_of(step, right=False))

    assert supervisor.get(here).status_code == 404
    assert supervisor.post(here, data=answer_of(step)).status_code == 404
    assert "To look at again" not in words(supervisor, HOME)
    assert "To look at again" in words(therapist, HOME)


def test_unfinished_one_is_offered_again(therapist: TestClient, site: Site) -> None:
    here = given(site, 5, "timed_up_and_go", 1)

    assert found(therapist.get(HOME).text, f'a[href="{here}"]').text() == (
        "Go on with it"
    )


def test_exercise_of_an_older_edition_says_so_and_keeps_the_answers(
    therapist: TestClient, site: Site, clock: Clock
) -> None:
    with write_session(site.engine) as session:
        row = make_showing(session, person_by(session, "therapist"))
        exercises.answer(
            session, row, step="trials", said="1", right=False, rule="void_trial",
            now=clock(),
        )  # fmt: skip
        here = f"{HOME}/{row.id}"

    assert "This exercise has ended" in words(therapist, here)
    assert RULES["void_trial"].says in words(therapist, here)
    sent = therapist.post(here, data={"step": "score", "said": "few"})
    assert sent.headers["location"] == here
    assert len(said(site)) == 1


def test_rule_missed_before_is_drawn_where_a_new_one_would_be_otherwise(
    therapist: TestClient, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The chance stands still: only what was answered moves the draw."""
    monkeypatch.setattr(secrets, "randbelow", lambda _below: 100_000)

    therapist.post(HOME, data={"level": "4"})
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        for _ in range(5):
            exercises.answer(
                session, make_showing(session, me), step="trials", said="1",
                right=False, rule="void_trial", now=site.clock(),
            )  # fmt: skip
    therapist.post(HOME, data={"level": "4"})

    with read_session(site.engine) as session:
        rows = session.exec(select(ExerciseShowing).order_by(col(ExerciseShowing.id)))
        drawn = [r.rule for r in rows]
    assert (drawn[0], drawn[-1]) == ("unable_trial", "void_trial")


def test_any_test_means_one_that_has_exercises(
    therapist: TestClient, site: Site
) -> None:
    for _ in range(3):
        therapist.post(HOME, data={"level": "4", "measure": ""})

    with read_session(site.engine) as session:
        drawn = session.exec(select(ExerciseShowing.measure)).all()
    assert len(drawn) == 3
    assert all(takes(site.catalogue.measures[name]) for name in drawn)
