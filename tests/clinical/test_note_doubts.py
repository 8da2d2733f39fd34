"""What is doubted in a note, and what is left in peace.

Short forms: the Joint Commission's do-not-use list (page of 2017, full text), the
error-prone lists (full text or excerpt), clashes in therapy notes (common practice).
"""

from collections.abc import Iterable

import pytest

from app.clinical.abbreviations import (
    ABBREVIATIONS,
    ERROR_PRONE,
    OFFICIAL,
    OURS,
    hits,
)
from app.clinical.note import Line, Section, Written, as_text
from app.clinical.note_doubts import NoteDoubt, doubts

#: key, source, what is flagged (and as what), the good form beside it.
FORMS = [
    ("u", OFFICIAL, "insulin 10 U", "U", "insulin 10 units, a U turn"),
    ("u", OFFICIAL, "10u before lunch", "u", "2 U-turns"),
    ("iu", OFFICIAL, "vitamin D 800 IU", "IU", "800 international units"),
    ("qd", OFFICIAL, "walks Q.D.", "Q.D.", "walks daily"),
    ("qd", OFFICIAL, "walks qd", "qd", "walks every day"),
    ("qod", OFFICIAL, "bath q.o.d.", "q.o.d.", "bath every other day"),
    ("qod", OFFICIAL, "bath QOD", "QOD", "God"),
    ("trailing_zero", OFFICIAL, "took 1.0 mg", "1.0", "took 1 mg, timed 12.0 s"),
    ("leading_zero", OFFICIAL, "walked .8 m/s", ".8", "walked 0.8 m/s"),
    ("ms", OFFICIAL, "given MS at noon", "MS", "Ms, 18 ms, MSc, mmHg"),
    ("ms", OFFICIAL, "MSO4 and MgSO4", "MSO4", "morphine sulfate"),
    ("d_c", ERROR_PRONE, "d/c on Friday", "d/c", "discharge on Friday"),
    ("greater_less", ERROR_PRONE, "held > 10 s", ">", "held longer than 10 s, 3 -> 4"),
    ("greater_less", ERROR_PRONE, "held < 10 s", "<", "held less than 10 s"),
    ("at", ERROR_PRONE, "seated @ sink", "@", "seated at sink"),
    ("and", ERROR_PRONE, "soap & towel", "&", "soap and towel, edema 2+"),
    ("and", ERROR_PRONE, "soap + towel", "+", "edema +1"),
    ("cc", ERROR_PRONE, "drank 200cc", "cc", "drank 200 mL, with success"),
    ("ug", ERROR_PRONE, "25 µg", "µg", "25 mcg"),
    ("hs", ERROR_PRONE, "splint at hs", "hs", "splint at bedtime"),
    ("hs", ERROR_PRONE, "splint qhs", "qhs", "splint every night"),
    ("bt", ERROR_PRONE, "splint at BT", "BT", "splint at bedtime"),
    ("eye", ERROR_PRONE, "patch OD", "OD", "patch on the right eye"),
    ("eye", ERROR_PRONE, "drops OU", "OU", "drops in both eyes"),
    ("ear", ERROR_PRONE, "hearing aid AS", "AS", "hearing aid, left ear, as before"),
    ("sc", ERROR_PRONE, "given SQ", "SQ", "given under the skin"),
    ("ss", ERROR_PRONE, "insulin ss", "ss", "insulin by a scale, less of it"),
    ("per", ERROR_PRONE, "3 times/day", "/day", "3 times a day, 118/70, 0.8 m/s"),
    ("per", ERROR_PRONE, "5 reps/set", "/set", "heart rate 84 /min, and/or, 2 L/min"),
    ("degree", ERROR_PRONE, "knee to 90°", "°", "knee to 90 degrees, 36.6 °C"),
    ("ms_words", OURS, "has MS", "MS", "has multiple sclerosis"),
    ("pt_words", OURS, "PT to follow", "PT", "physical therapy to follow"),
    ("cva", OURS, "left CVA", "CVA", "stroke on the left"),
    ("wfl", OURS, "ROM WFL", "WFL", "reach WFL for dressing overhead"),
    ("wfl", OURS, "vision WNL.", "WNL", "reads print of 12 points"),
    ("pt_mixed", OURS, "Pt stood; pt sat", "Pt", "pt stood; pt sat"),
    ("side", OURS, "weaker on L.", "L", "weaker on the left, 2 L of oxygen"),
    ("side", OURS, "R-sided lean", "R", "right-sided lean, 2 L/min, L4"),
    ("side", OURS, "strength 4/5 L", "L", "12 L and 2.5 L of oxygen"),
    ("side", OURS, "grip R/L", "R/L", "grip right and left"),
    ("bar", OURS, "stood s\u0304 device", "s\u0304", "stood without device"),
    ("bar", OURS, "stood c\u0304 device", "c\u0304", "stood with device"),
    ("arrow", OURS, "sway ↑", "↑", "sway increased"),
    ("tug", OURS, "TUG 12.4 s", "TUG", "Timed Up and Go (TUG) 12.4 s; TUG again"),
    ("hour", OURS, "seen 2:05 pm", "2:05 pm", "seen 3 June, 14:05; I am 5"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "source", "bad", "found", "good"), FORMS)
def test_short_form_is_flagged_and_its_good_form_is_not(
    key: str, source: str, bad: str, found: str, good: str
) -> None:
    marked = [hit for hit in hits(bad) if hit.row.key == key]

    assert found in [hit.found for hit in marked]
    assert {hit.row.source for hit in marked} == {source}
    assert found in marked[0].row.says(found)
    assert not [hit for hit in hits(good) if hit.row.key == key]


def test_every_row_of_the_lists_is_tried() -> None:
    tried = {key for key, *_ in FORMS} | {"sob"}

    assert tried == {row.key for row in ABBREVIATIONS}
    hows = {row.source: row.how for row in ABBREVIATIONS}
    assert hows == {
        OFFICIAL: "full text",
        ERROR_PRONE: "full text or excerpt",
        OURS: "common practice",
    }


def test_sob_is_flagged_only_where_a_patient_reads_it() -> None:
    assert not list(hits("SOB on stairs"))
    assert [hit.found for hit in hits("SOB on stairs", sheet=True)] == ["SOB"]
    assert not list(hits("short of breath on stairs", sheet=True))


def line(
    text: str,
    key: str = "one",
    section: Section = "objective",
    *,
    made: str | None = None,
    needed: bool = False,
) -> Written:
    """A written line; its made words are the same unless others are given."""
    stood = text if made is None else made
    return Written(
        Line(key, section, stood, asks="What was seen?", needed=needed),
        text,
        own=text != stood,
    )


def kinds(*written: Written, last: str = "") -> list[tuple[str, str]]:
    return [(doubt.key, doubt.kind) for doubt in doubts(written, last)]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Tolerated well.", "tolerated"),
        ("Patient tolerated today's treatment well", "tolerated"),
        ("Good session", "good_session"),
        ("Continue as planned.", "continue"),
        ("Continued plan.", "continue"),
        ("No change.", "no_change"),
        ("The patient did great!", "did_great"),
        ("As above.", "as_above"),
        ("Strength within functional limits.", "limits"),
    ],
)
def test_empty_phrase_is_pointed_out(text: str, kind: str) -> None:
    found = doubts([line(text, section="assessment")], "")

    assert [doubt.kind for doubt in found] == [kind]
    assert "write" in found[0].says


@pytest.mark.parametrize(
    "text",
    [
        "Tolerated 12 min of standing, effort 4 of 10",
        "No change: 18.4 s on 3 June, 18.4 s today",
        "18.4 s; no change",
        "Reach within functional limits for dressing overhead",
        "No change in device",
        "Continue until 3 clean sets of 3",
        "Walked 12 m without a device; heart rate 84 /min.",
    ],
)
def test_phrase_with_a_number_or_a_task_is_left_alone(text: str) -> None:
    assert not doubts([line(text)], "")


def test_what_is_needed_and_empty_is_missing() -> None:
    asked = doubts([line("", "why", needed=True), line("", "other")], "")

    assert asked == (NoteDoubt("why", "Still missing: What was seen?", "", "missing"),)


@pytest.mark.parametrize(
    ("text", "section", "doubted"),
    [
        ("Toileting: independent with 3 verbal cues.", "objective", True),
        ("Was independent in dressing, prompted twice", "objective", True),
        ("Modified independent with cueing", "assessment", True),
        ("Independent without cues", "objective", False),
        ("Independent, no verbal cues", "objective", False),
        ("Independent. Then 2 cues on the stairs", "objective", False),
        ("Will be independent once cues are faded", "objective", False),
        ("Independent with cueing", "plan", False),
        ("Says “I am independent with cues”", "objective", False),
    ],
)
def test_independent_with_cues_is_a_contradiction(
    text: str, section: Section, doubted: bool
) -> None:
    found = kinds(line(text, section=section))

    assert (("one", "contradiction") in found) is doubted


def test_contradiction_across_lines_is_of_one_task() -> None:
    alone = line("Dressing, lower body: independent, no device", "a")
    cued = line("Lower body dressing needed verbal cues", "b", "assessment")
    other = line("Upper body dressing needed verbal cues", "c", "assessment")

    assert kinds(alone, cued) == [("a", "contradiction")]
    assert kinds(alone, other) == []


def words(*, same: int, other: int) -> tuple[str, str]:
    """Two texts of the same length with so many words alike, none of them a number."""
    letters = [f"{a}{b}w" for a in "abcdefghij" for b in "abcdefghij"]
    kept, rest = letters[:same], letters[same : same + other]
    return " ".join(kept + rest), " ".join(kept + [word + "x" for word in rest])


@pytest.mark.parametrize(
    ("same", "other", "told"),
    [(89, 11, False), (90, 10, True), (91, 9, True), (100, 0, True)],
    ids=["just below", "at 90 %", "just above", "all of it"],
)
def test_copied_text_is_told_from_90_percent_on(
    same: int, other: int, told: bool
) -> None:
    last, now = words(same=same, other=other)

    assert (("", "same") in kinds(line(now), last=last)) is told


def test_copied_text_says_the_share_of_words_and_numbers() -> None:
    before = [line(f"{'word ' * 20}18.4 s then 17.2 s")]
    last = "\n".join(as_text(before, "soap"))
    (found,) = doubts([line(f"{'word ' * 20}18.4 s then 16.9 s")], last)

    assert found.says.startswith("96 % of the words")
    assert "1 of its 2 numbers" in found.says
    assert not doubts(before, "")


def test_quote_is_marked_and_said_to_be_one() -> None:
    quoted = doubts([line("Says “my MS tolerated it well”", section="subjective")], "")

    assert {doubt.kind for doubt in quoted} == {"tolerated", "ms", "ms_words"}
    assert all(doubt.says.startswith("In a quote:") for doubt in quoted)
    outside = doubts([line("Has MS, says “well”", section="subjective")], "")
    assert not any(doubt.says.startswith("In a quote:") for doubt in outside)


def test_sign_in_made_words_is_not_the_therapists() -> None:
    kept = line("Held < 10 s, then rested", made="Held < 10 s")
    own = line("Held < 10 s, then rested", made="Held 10 s")

    assert kinds(kept) == []
    assert kinds(own) == [("one", "greater_less")]


def numbered(doubted: Iterable[NoteDoubt]) -> list[str]:
    return [doubt.found for doubt in doubted if doubt.kind == "no_event"]


def test_number_without_an_event_is_asked_about() -> None:
    made = line("Five times sit to stand 18.4 s", "a")
    own = line("Down 4.1 s to 18.4 s; “I did 7”", "b", "assessment", made="")
    plan = line("3 times a week for 4 weeks", "c", "plan", made="")

    assert numbered(doubts([made, own, plan], "")) == ["4.1"]
    assert numbered(doubts([made, own, plan], "", "4.1 s faster")) == []
