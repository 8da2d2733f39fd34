"""A note's page: worded line by line, signed by who may, never changed, added to."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from selectolax.lexbor import LexborHTMLParser, LexborNode
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.episodes import Visit
from app.storage.notes import Addendum, NoteEdit, broken_addenda
from app.storage.owing import PlanEvent
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.review import VisitText, broken_texts
from app.web.deps import Site
from app.web.note_draft import digest
from tests.conftest import Clock, found, person_by
from tests.make import PASSPHRASE, make_person
from tests.web.test_visits import LEFT_ROOM, begin, put, rows

SignIn = Callable[[str], TestClient]
SURE = {"passphrase": PASSPHRASE}
HTMX = {"hx-request": "true", "sec-fetch-mode": "cors"}
OWN = f"own-{'a' * 32}"
SKILL = "field:skill"
NEXT = "field:next"
PAIN = "Symptom check: agreed, pain 3 of 10."
KITCHEN = "A kitchen task: stand-by, cues verbal, no device."


def fields(page: str) -> dict[str, str]:
    """Every field of the note's one form, as a browser without script would send it."""
    tree = LexborHTMLParser(page)
    typed = {
        str(n.attributes["name"]): n.text() for n in tree.css("textarea[form=note]")
    }
    hidden = {
        str(n.attributes["name"]): n.attributes.get("value") or ""
        for n in tree.css("input[type=hidden][form=note]")
    }
    return {**typed, **hidden}


def line_of(page: str, words: str) -> LexborNode:
    """The line of the page that shows these words."""
    lines = LexborHTMLParser(page).css(".note-line")
    return next(n for n in lines if words in found(str(n.html), "[data-shown]").text())


def key_of(page: str, words: str) -> str:
    name = found(str(line_of(page, words).html), "textarea").attributes["name"]
    return str(name).removeprefix("text-")


def word(
    client: TestClient, note: str, key: str, text: str, shown: str = "", **more: str
) -> int:
    """One line sent as its tap does."""
    said = {f"text-{key}": text, f"was-{key}": digest(shown), "uid": uuid4().hex}
    return client.post(note, data=said | more, headers=HTMX).status_code


def sign(client: TestClient, note: str, **said: str) -> int:
    return client.post(f"{note}/sign", data=SURE | said).status_code


def texts(site: Site) -> list[VisitText]:
    with read_session(site.engine) as session:
        return list(session.exec(select(VisitText).order_by(col(VisitText.id))))


def close(client: TestClient, url: str) -> None:
    put(client, url, "tasks", task="kitchen", level="stand_by", cue_kind="verbal",
        device_kind="none")  # fmt: skip
    put(client, url, "exit", all="done", **LEFT_ROOM)
    assert put(client, url, "close") == 303


@pytest.fixture
def note(therapist: TestClient, patient_id: int) -> str:
    """The note of the therapist's own closed visit, with a task in it."""
    url = begin(therapist, patient_id)
    put(therapist, url, "symptoms", agreed="yes", pain="3")
    close(therapist, url)
    return f"{url}/notes/visit"


@pytest.fixture
def join(site: Site, sign_in_as: SignIn, patient_id: int) -> Callable[..., TestClient]:
    """Somebody who looks after the patient as well."""

    def joined(handle: str, role: str = "") -> TestClient:
        with write_session(site.engine) as session:
            who = make_person(session, handle, role=role) if role else None
            other = who or person_by(session, handle)
            owner, patient = person_by(session, "therapist"), patient_id
            assign(
                session, owner, session.get_one(Patient, patient), other,
                now=site.clock(),
            )  # fmt: skip
        return sign_in_as(handle)

    return joined


@pytest.fixture
def students(
    join: Callable[..., TestClient], patient_id: int
) -> tuple[TestClient, str]:
    """A student, and the note of their own closed visit."""
    student = join("student")
    url = begin(student, patient_id)
    close(student, url)
    return student, f"{url}/notes/visit"


class TestWording:
    """Each line by itself, or without script all at once; nothing typed is lost."""

    def test_lines_stand_by_section_and_what_is_missing_asks(
        self, therapist: TestClient, note: str
    ) -> None:
        page = therapist.get(note).text
        heads = [n.text() for n in LexborHTMLParser(page).css("main section h2")]

        assert heads[:4] == ["Subjective", "Objective", "Assessment", "Plan"]
        assert "pain 3 of 10" in line_of(page, "pain 3").text()
        assert "Still asked for" in line_of(page, "took a therapist").text()
        assert "4 still asked for" in found(page, "#note-open").text()
        assert "Still asked for" not in line_of(page, "A kitchen task").text()

    def test_sections_in_the_sites_own_order(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        site.settings = site.settings.model_copy(update={"note_order": "apso"})
        page = therapist.get(note).text
        heads = [n.text() for n in LexborHTMLParser(page).css("main section h2")]

        assert heads[:4] == ["Assessment", "Plan", "Subjective", "Objective"]
        assert sign(therapist, note, **{f"text-{SKILL}": "Graded."}) == 303
        assert texts(site)[0].lines[1:3] == ["Assessment:", "Graded."]

    def test_tap_keeps_one_line_and_says_what_is_left(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        said = {f"text-{SKILL}": "Graded up.", f"was-{SKILL}": digest("")}
        answer = therapist.post(note, data=said, headers=HTMX).text
        again = therapist.get(note).text

        assert "Saved 09:30" in answer
        assert "3 still asked for" in answer
        assert f'name="was-{SKILL}" value="{digest("Graded up.")}-' in answer
        assert "<html" not in answer
        assert "Still asked for" not in line_of(again, "Graded up.").text()
        assert [(e.line_key, e.text, e.made) for e in rows(site, NoteEdit)] == [
            (SKILL, "Graded up.", "")
        ]

    def test_same_send_twice_is_one_edit(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        said = {f"text-{SKILL}": "A.", f"was-{SKILL}": digest(""), "uid": "b" * 32}
        codes = [therapist.post(note, data=said).status_code for _ in range(3)]

        assert codes == [303] * 3
        assert len(rows(site, NoteEdit)) == 1

    def test_line_worded_to_and_fro_on_one_page_keeps_the_last_words(
        self, therapist: TestClient, note: str
    ) -> None:
        page = fields(therapist.get(note).text) | {"uid": "b" * 32}
        for text in ("Graded up.", "", "Graded up."):
            said = {k: page[k] for k in page if k.endswith(SKILL) or k == "uid"}
            answer = therapist.post(
                note, data=said | {f"text-{SKILL}": text}, headers=HTMX
            )
            mark = f"input[name='was-{SKILL}']"
            page[f"was-{SKILL}"] = str(found(answer.text, mark).attributes["value"])

        assert "Graded up." in line_of(therapist.get(note).text, "Graded up.").text()

    def test_without_script_the_whole_form_keeps_what_was_changed_alone(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        form = fields(therapist.get(note).text)
        form |= {f"text-{SKILL}": "Cued\r\ntwice.", f"text-{NEXT}": "Low seat."}
        assert therapist.post(note, data=form).status_code == 303
        edits = {e.line_key: e.text for e in rows(site, NoteEdit)}

        assert len(form) > 10
        assert edits == {SKILL: "Cued\ntwice.", NEXT: "Low seat."}

    def test_stale_page_takes_back_nobodys_words(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        """What was not touched in a page opened before is not sent as a change."""
        stale = fields(therapist.get(note).text)
        assert word(therapist, note, SKILL, "Graded up.") == 200
        therapist.post(note, data=stale | {f"text-{NEXT}": "Low seat."})

        assert "Graded up." in therapist.get(note).text
        assert len(rows(site, NoteEdit)) == 2

    def test_changed_number_is_marked_and_leads_to_its_event(
        self, therapist: TestClient, note: str
    ) -> None:
        page = therapist.get(note).text
        key, made = key_of(page, "pain 3"), PAIN
        assert word(therapist, note, key, "Pain 2 of 10.", made) == 200
        line = line_of(therapist.get(note).text, "Pain 2 of 10.")
        mark = found(str(line.html), ".note-state .state")

        assert "Was 3 in the record" in mark.text()
        assert mark.css_first("svg")
        link = found(str(line.html), ".note-state a").attributes["href"]
        assert link == f"{note.removesuffix('/notes/visit')}#symptoms"

    @pytest.mark.parametrize(
        ("button", "says"), [("as_made", "pain 3 of 10"), ("left_out", "Left out")]
    )
    def test_line_is_left_out_and_brought_back_without_script(
        self, therapist: TestClient, note: str, button: str, says: str
    ) -> None:
        page = therapist.get(note).text
        key, made = key_of(page, "pain 3"), PAIN
        word(therapist, note, key, "Pain 2.", made)
        form = fields(therapist.get(note).text) | {button: key}
        assert therapist.post(note, data=form).status_code == 303
        page = therapist.get(note).text

        assert says in line_of(page, says).text()
        assert "in the record" not in found(page, "#lines-subjective").text()

    def test_own_line_may_be_added_to_any_section_and_another_follows(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        said = {f"text-{OWN}": "Bring the stool.", f"section-{OWN}": "plan"}
        answer = therapist.post(note, data=said, headers=HTMX).text
        page = therapist.get(note).text

        assert 'hx-target="#lines-plan" hx-swap="beforeend"' in answer
        assert len(LexborHTMLParser(page).css("#lines-plan .note-line")) == 5
        assert word(therapist, note, OWN, "", "Bring the stool.") == 200
        assert (
            "Bring the stool."
            not in found(therapist.get(note).text, "#lines-plan [data-shown]").text()
        )
        assert [e.section for e in rows(site, NoteEdit)] == ["plan", "plan"]

    def test_too_long_a_line_stays_in_its_field(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        form = fields(therapist.get(note).text)
        form |= {f"text-{SKILL}": "x" * 4001, f"text-{NEXT}": "Low seat."}
        answer = therapist.post(note, data=form)
        line = line_of(answer.text, "x" * 50)

        assert answer.status_code == 422
        assert "these are 4001" in line.text()
        assert found(str(line.html), "textarea").text() == "x" * 4001
        assert [e.line_key for e in rows(site, NoteEdit)] == [NEXT]

    def test_line_whose_event_was_taken_back_says_so(
        self, therapist: TestClient, note: str
    ) -> None:
        url = note.removesuffix("/notes/visit")
        key = key_of(therapist.get(note).text, "A kitchen task")
        word(therapist, note, key, "Made tea alone.", KITCHEN)
        put(therapist, url, "tasks/1/void", void_reason="other patient")
        line = line_of(therapist.get(note).text, "Made tea alone.")

        assert "The record has changed since this was worded" in line.text()
        assert "taken back: other patient" in line.text()

    def test_words_outlive_the_event_they_were_made_from(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        word(therapist, note, "task:1", "Made tea alone.", KITCHEN)
        with write_session(site.engine) as session:
            session.connection().exec_driver_sql(
                "UPDATE note_edit SET line_key = 'task:9'"
            )
        line = line_of(therapist.get(note).text, "Made tea alone.")

        assert "no longer in the record" in line.text()

    def test_supervisors_words_stand_beside_the_students(
        self, students: tuple[TestClient, str], supervisor: TestClient, clock: Clock
    ) -> None:
        student, note = students
        word(student, note, SKILL, "Walked with him.")
        clock.move(minutes=1)
        word(supervisor, note, SKILL, "Guarded at the belt.", "Walked with him.")
        line = line_of(student.get(note).text, "Guarded at the belt.").text()

        assert "Worded by Supervisor" in line
        assert "Walked with him. Student" in " ".join(line.split())


class TestWho:
    """Who may word, sign or hand in which note."""

    def test_colleague_reads_a_draft_and_words_nothing(
        self, join: Callable[..., TestClient], therapist: TestClient, note: str
    ) -> None:
        word(therapist, note, SKILL, "Graded up.")
        colleague = join("colleague")
        page = colleague.get(note).text

        assert "Graded up." in page
        assert LexborHTMLParser(page).css("textarea") == []
        assert word(colleague, note, SKILL, "Mine.") == 403
        assert sign(colleague, note) == 403

    @pytest.mark.parametrize("path", ["", "/text", "/sign", "/addenda"])
    def test_outsider_finds_nothing(
        self, therapist: TestClient, outsider: TestClient, note: str, path: str
    ) -> None:
        assert sign(therapist, note) == 303
        method = "GET" if path in ("", "/text") else "POST"

        assert outsider.request(method, note + path, data=SURE).status_code == 404

    @pytest.mark.parametrize(
        ("kind", "note", "code"),
        [
            ("treatment", "visit", 303),
            ("evaluation", "visit", 403),
            ("treatment", "evaluation", 403),
            ("treatment", "progress", 403),
            ("treatment", "discharge", 403),
        ],
    )
    def test_assistant_signs_visit_notes_alone(
        self, join: Callable[..., TestClient], patient_id: int, site: Site,
        kind: str, note: str, code: int,
    ) -> None:  # fmt: skip
        assistant = join("assistant", "assistant")
        url = begin(assistant, patient_id)
        close(assistant, url)
        with write_session(site.engine) as session:
            session.connection().exec_driver_sql(f"UPDATE visit SET kind = '{kind}'")
        path = f"{url}/notes/{note}"

        assert (
            word(assistant, path, OWN, "Lower seat.", **{f"section-{OWN}": "plan"})
            == 200
        )
        assert sign(assistant, path) == code

    @pytest.mark.parametrize("kind", ["evaluation", "progress", "discharge"])
    def test_student_drafts_what_the_therapist_signs(
        self, students: tuple[TestClient, str], therapist: TestClient, site: Site,
        kind: str,
    ) -> None:  # fmt: skip
        student, note = students
        path = note.replace("notes/visit", f"notes/{kind}")
        assert (
            word(student, path, OWN, "Lower seat.", **{f"section-{OWN}": "plan"}) == 200
        )
        assert "The therapist signs it." in student.get(path).text
        assert sign(student, path) == 403
        assert sign(therapist, path) == 303
        (written,) = texts(site)

        assert (written.kind, written.note) == ("signed", kind)
        assert "Lower seat." in written.lines

    @pytest.mark.parametrize("kind", ["visit", "evaluation"])
    def test_note_of_what_happened_waits_for_the_door(
        self, therapist: TestClient, patient_id: int, kind: str
    ) -> None:
        path = f"{begin(therapist, patient_id)}/notes/{kind}"

        assert (
            word(therapist, path, OWN, "Lower seat.", **{f"section-{OWN}": "plan"})
            == 200
        )
        assert "Close the visit first" in therapist.get(path).text
        assert sign(therapist, path) == 403

    def test_no_such_note_is_not_found(self, therapist: TestClient, note: str) -> None:
        for path in (note.replace("notes/visit", "notes/poem"), f"{note}/text"):
            assert therapist.get(path).status_code == 404


class TestSigning:
    """What is signed stands: its lines, its readings, who, when and by what edition."""

    @pytest.mark.parametrize("typed", ["", "not it at all"])
    def test_wrong_passphrase_signs_nothing_and_loses_nothing(
        self, therapist: TestClient, note: str, site: Site, typed: str
    ) -> None:
        form = fields(therapist.get(note).text) | {f"text-{SKILL}": "Graded up."}
        answer = therapist.post(f"{note}/sign", data=form | {"passphrase": typed})

        assert answer.status_code == 422
        assert found(answer.text, "#passphrase-error").text()
        assert "Graded up." in answer.text
        assert typed == "" or typed not in answer.text
        assert texts(site) == []
        assert [e.text for e in rows(site, NoteEdit)] == ["Graded up."]

    def test_page_that_the_record_has_overtaken_is_read_again_before_it_is_signed(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        form = fields(therapist.get(note).text) | {f"text-{SKILL}": "Cued."} | SURE
        url = note.removesuffix("/notes/visit")
        put(therapist, url, "tasks/1/void", void_reason="other patient")
        answer = therapist.post(f"{note}/sign", data=form)
        again = fields(answer.text)

        assert answer.status_code == 422
        assert "reads otherwise now" in found(answer.text, "#changed-error").text()
        assert texts(site) == []
        assert again[f"text-{SKILL}"] == "Cued."
        assert therapist.post(f"{note}/sign", data=again | SURE).status_code == 303
        assert KITCHEN not in texts(site)[0].lines

    def test_minutes_stand_once_a_note_is_signed(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        """Else what is billed would no longer be what was signed."""
        url = note.removesuffix("/notes/visit")
        assert put(therapist, url, "minutes", individual_minutes="25") == 303
        form = fields(therapist.get(note).text) | {f"text-{SKILL}": "Cued."} | SURE
        assert therapist.post(f"{note}/sign", data=form).status_code == 303
        refused = therapist.post(f"{url}/minutes", data={"individual_minutes": "55"})
        page = therapist.get(url).text

        assert refused.status_code == 422
        assert "an addendum" in found(refused.text, "#minutes-error").text()
        assert [visit.individual_minutes for visit in rows(site, Visit)] == [25]
        assert "25 min" in found(page, "#minutes").text()
        assert not LexborHTMLParser(page).css("#minutes form")
        put(therapist, url, "resume")  # seen once more today
        assert put(therapist, url, "minutes", individual_minutes="40") == 303

    def test_minutes_of_a_returned_note_are_put_right(
        self, supervisor: TestClient, students: tuple[TestClient, str], site: Site
    ) -> None:
        student, note = students
        url = note.removesuffix("/notes/visit")
        assert sign(student, note, **{f"text-{SKILL}": "Cued."}) == 303
        assert put(student, url, "minutes", individual_minutes="55") == 422
        assert len(texts(site)) == 1
        said = {"decision": "return", "statement": "Is that right?"}
        supervisor.post("/review/1/decision", data=said)
        assert put(student, url, "minutes", individual_minutes="55") == 303

    def test_enter_in_the_passphrase_signs(
        self, therapist: TestClient, note: str
    ) -> None:
        """A browser presses the first button of the form, wherever it stands."""
        page = LexborHTMLParser(therapist.get(note).text)
        first, *_ = page.css("button[form=note], form#note button")

        assert first.attributes["formaction"] == f"{note}/sign"

    def test_words_over_a_record_that_changed_are_read_again_before_they_are_signed(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        key = key_of(therapist.get(note).text, "A kitchen task")
        word(therapist, note, key, "Made tea alone.", KITCHEN)
        form = fields(therapist.get(note).text) | SURE
        url = note.removesuffix("/notes/visit")
        put(therapist, url, "tasks/1/void", void_reason="other patient")

        assert therapist.post(f"{note}/sign", data=form).status_code == 422
        assert texts(site) == []

    def test_page_whose_line_somebody_else_worded_is_read_again_before_it_is_signed(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        form = fields(therapist.get(note).text) | SURE
        word(therapist, note, NEXT, "Somebody's words.")

        assert therapist.post(f"{note}/sign", data=form).status_code == 422
        assert texts(site) == []

    def test_signed_note_keeps_what_it_was_made_from(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        key = key_of(therapist.get(note).text, "pain 3")
        word(therapist, note, key, "Pain 2.", PAIN)
        assert [sign(therapist, note, **{f"text-{SKILL}": "Cued."})
                for _ in range(2)] == [303, 303]  # fmt: skip
        (written,) = texts(site)
        parts = {part["key"]: part for part in written.parts or ()}

        assert written.lines[:3] == ["Visit note, 2 Mar 2026", "Subjective:", "Pain 2."]
        assert parts[key]["made"] == PAIN
        assert parts[key]["refs"] == [["symptoms", 1]]
        assert ["3", "gone"] in parts[key]["changed"]
        assert written.readings == []
        with read_session(site.engine) as session:
            assert broken_texts(session) == []

    def test_readings_of_the_day_are_kept_with_it(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        url = begin(therapist, patient_id)
        test = f"/patients/{patient_id}/measures/timed_up_and_go/ready"
        ready = therapist.post(test, data={"uid": uuid4().hex, "ok": "all"})
        stand = ready.headers.get("location", "/rounds/1")
        for raw in ("14200", "14000", "13900"):
            said = {"uid": uuid4().hex, "raw_ms": raw, "outcome": "completed"}
            therapist.post(f"{stand.partition('?')[0]}/trials", data=said)
        close(therapist, url)
        assert sign(therapist, f"{url}/notes/visit") == 303
        readings = texts(site)[0].readings or []
        assert len(readings) == 1
        reading = readings[0]

        assert reading["measure"] == "timed_up_and_go"
        assert reading["score"]["unit"] == "s"
        assert reading["edition"] == site.catalogue.edition

    def test_signed_note_is_read_with_all_that_vouches_for_it(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        sign(therapist, note, **{f"text-{SKILL}": "Cued."})
        page = found(therapist.get(note).text, "main").text()
        (written,) = texts(site)

        for words in (
            "Cued.", "Therapist, therapist", "2 Mar 2026, 09:30", written.edition,
            written.hash[:12], site.version,
        ):  # fmt: skip
            assert words in page, words
        assert "Late" not in page
        assert LexborHTMLParser(page).css("textarea[form=note]") == []

    def test_signed_note_never_changes(
        self, therapist: TestClient, note: str, site: Site
    ) -> None:
        sign(therapist, note)
        before = texts(site)[0].hash

        assert word(therapist, note, SKILL, "Later thought.") == 403
        assert sign(therapist, note, **{f"text-{SKILL}": "Later thought."}) == 403
        assert [t.hash for t in texts(site)] == [before]

    def test_note_of_another_day_says_both(
        self, note: str, clock: Clock, sign_in_as: SignIn
    ) -> None:
        clock.move(hours=24)
        therapist = sign_in_as("therapist")
        assert "Late" not in found(therapist.get(note).text, "main").text()
        clock.move(hours=2)
        therapist = sign_in_as("therapist")
        assert "ended 26 hours ago" in therapist.get(note).text
        sign(therapist, note)
        page = therapist.get(note).text

        assert "Late: written on another day" in page
        assert "Visit on 2 Mar 2026, written 3 Mar 2026, 11:30" in page
        assert "another day than the visit" in therapist.get(f"{note}/text").text

    @pytest.mark.parametrize("kind", ["progress", "discharge"])
    def test_signed_report_answers_its_clock(
        self, note: str, site: Site, clock: Clock, sign_in_as: SignIn, kind: str
    ) -> None:
        clock.move(days=1)
        therapist = sign_in_as("therapist")
        assert sign(therapist, note.replace("notes/visit", f"notes/{kind}")) == 303
        (event,) = rows(site, PlanEvent)

        assert (event.kind, str(event.on_date)) == ("report", "2026-03-02")

    def test_visit_leads_to_its_note_and_says_how_far_it_is(
        self, therapist: TestClient, note: str, patient_id: int
    ) -> None:
        url = note.removesuffix("/notes/visit")
        before = found(therapist.get(url).text, "#text a.btn")
        assert before.attributes["href"] == note
        sign(therapist, note)
        after = found(therapist.get(url).text, "#text")

        assert after.css("a.btn") == []
        assert "Visit note: signed" in after.text()
        brief = therapist.get(f"/patients/{patient_id}/episodes").text
        assert f'href="{url}/notes/discharge"' in brief


class TestStudents:
    """A student's text is nobody's record until a supervisor answered for it."""

    def test_evaluation_leads_a_student_to_what_they_hand_in_and_what_they_draft(
        self, students: tuple[TestClient, str], site: Site
    ) -> None:
        student, note = students
        with write_session(site.engine) as session:
            session.connection().exec_driver_sql("UPDATE visit SET kind = 'evaluation'")
        page = student.get(note.removesuffix("/notes/visit")).text
        links = LexborHTMLParser(page).css("#text a")

        assert [(a.text(), a.attributes["href"]) for a in links] == [
            ("Finish the visit note", note),
            ("Evaluation", note.replace("notes/visit", "notes/evaluation")),
        ]

    def test_handed_in_text_is_marked_and_neither_copied_nor_printed(
        self, students: tuple[TestClient, str], supervisor: TestClient
    ) -> None:
        student, note = students
        assert student.post(f"{note}/sign", data={}).status_code == 303
        page = student.get(note).text

        assert found(page, ".note-unfit").text() == (
            "Student entry. Not valid until co-signed."
        )
        assert LexborHTMLParser(page).css("[data-copy], [data-print]") == []
        assert student.get(f"{note}/text").status_code == 403
        more = {"words": "More.", "reason": "Late", **SURE}
        assert supervisor.post(f"{note}/addenda", data=more).status_code == 403

    def test_co_signed_text_stands_with_the_statement(
        self, students: tuple[TestClient, str], supervisor: TestClient
    ) -> None:
        student, note = students
        student.post(f"{note}/sign", data={f"text-{SKILL}": "Cued."})
        review = supervisor.get(note.replace("notes/visit", "review")).text
        said = {"statement": "I decided on the grading.", "presence": "in_room"}
        said |= {"decision": "co_sign", **SURE}
        supervisor.post("/review/1/decision", data=said)
        page, plain = student.get(note).text, student.get(f"{note}/text").text

        assert [n.text() for n in LexborHTMLParser(review).css(".lines h3")] == [
            "Objective:", "Assessment:", "Plan:",
        ]  # fmt: skip
        assert LexborHTMLParser(page).css(".note-unfit") == []
        assert LexborHTMLParser(page).css("[data-copy]")
        assert "I decided on the grading." in plain
        assert "Co-signed by Supervisor, supervisor" in plain

    def test_returned_note_goes_on_from_its_own_words(
        self, students: tuple[TestClient, str], supervisor: TestClient, site: Site
    ) -> None:
        student, note = students
        student.post(f"{note}/sign", data={f"text-{SKILL}": "Cued."})
        said = {"decision": "return", "statement": "Which cues?"}
        supervisor.post("/review/1/decision", data=said)
        page = student.get(note).text
        assert "Which cues?" in page
        assert "Cued." in line_of(page, "Cued.").text()
        form = fields(page) | {f"text-{SKILL}": "Cued by touch, twice."}
        assert student.post(f"{note}/sign", data=form).status_code == 303
        first, second = texts(site)

        assert "Cued." in first.lines
        assert "Cued by touch, twice." in second.lines
        assert second.previous_hash == first.hash
        earlier = LexborHTMLParser(student.get(note).text).css("main details p")
        assert "Cued." in [n.text() for n in earlier]


class TestAddenda:
    """What comes later is added, with a reason, by who may sign."""

    def test_addenda_stand_below_the_text_in_a_chain(
        self, therapist: TestClient, note: str, site: Site, clock: Clock,
        sign_in_as: SignIn,
    ) -> None:  # fmt: skip
        sign(therapist, note)
        clock.move(days=2)
        therapist = sign_in_as("therapist")
        for words in ("Order read late.", "And the second."):
            said = {"words": words, "reason": "Chart came late", **SURE}
            assert therapist.post(f"{note}/addenda", data=said).status_code == 303
        page = found(therapist.get(note).text, "#addenda").text()
        first, second = rows(site, Addendum)

        assert "Order read late." in page
        assert "Why: Chart came late. Therapist, therapist, 4 Mar 2026, 09:30" in page
        assert (first.previous_hash, second.previous_hash) == (
            texts(site)[0].hash, first.hash,
        )  # fmt: skip
        assert "And the second." in therapist.get(f"{note}/text").text
        with read_session(site.engine) as session:
            assert broken_addenda(session) == []

    @pytest.mark.parametrize("lacks", ["words", "reason", "passphrase"])
    def test_addendum_needs_words_a_reason_and_the_passphrase(
        self, therapist: TestClient, note: str, site: Site, lacks: str
    ) -> None:
        sign(therapist, note)
        said = {"words": "More.", "reason": "Late", **SURE} | {lacks: ""}
        answer = therapist.post(f"{note}/addenda", data=said)

        assert answer.status_code == 422
        assert found(answer.text, f"#{lacks}-error").text()
        assert lacks == "words" or "More." in found(answer.text, "#words").text()
        assert rows(site, Addendum) == []

    def test_draft_takes_no_addendum(self, therapist: TestClient, note: str) -> None:
        said = {"words": "More.", "reason": "Late", **SURE}

        assert therapist.post(f"{note}/addenda", data=said).status_code == 404


def test_plain_text_names_nobody_but_by_the_label(
    therapist: TestClient, note: str, site: Site, patient_id: int
) -> None:
    with write_session(site.engine) as session:
        patient = session.get_one(Patient, patient_id)
        patient.full_name, patient.record_number = "Invented Person", "X-123456"
        session.add(patient)
        label = patient.label
    sign(therapist, note)
    answer = therapist.get(f"{note}/text")

    assert answer.headers["content-type"].startswith("text/plain")
    assert "content-disposition" not in answer.headers
    assert answer.text.startswith(f"Visit note. {label}.\nVisit of 2 Mar 2026.\n")
    assert "Objective:\nA kitchen task" in answer.text
    for page in (answer.text, therapist.get(note).text):
        assert "Invented Person" not in page
        assert "X-123456" not in page


def test_text_from_before_there_were_notes_is_read_as_it_was(
    therapist: TestClient, note: str, site: Site
) -> None:
    sign(therapist, note)
    with write_session(site.engine) as session:
        old = session.exec(select(VisitText)).one()
        old.note, old.parts, old.readings = None, None, None
        old.lines, old.own_words = ["Treatment, 2026-03-02", "A task"], "Rested."
        session.add(old)
    page = found(therapist.get(note).text, "article").text()

    assert "Treatment, 2026-03-02" in page
    assert "In their own words: Rested." in page
