"""What was typed in a note's fields -> edits, each kept once."""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlmodel import Session

from app.clinical.note import SECTIONS
from app.storage.episodes import Visit
from app.storage.notes import LONGEST_KEY, LONGEST_LINE, edit_line
from app.storage.people import Person
from app.web.deps import Form, FormProblem
from app.web.note_draft import Draft, DraftLine, digest

FIELD: Final = "text-"
WAS: Final = "was-"
#: Said to whoever signs a page that the record has overtaken.
CHANGED: Final = (
    "The note reads otherwise now than when this page was made: somebody changed the "
    "record or a line. What you typed was kept. Read it again, then sign."
)


@dataclass(frozen=True, slots=True)
class Typed:
    """The fields of one form: what each line says, and which words it had shown."""

    texts: dict[str, str]
    form: Form

    @classmethod
    def read(cls, form: Form) -> "Typed":
        """Line ends as one sign each; a button may put a line back or leave it out."""
        texts = {
            name.removeprefix(FIELD): value.replace("\r\n", "\n").strip()
            for name, value in form.items()
            if name.startswith(FIELD)
        }
        if form.text("left_out") in texts:
            texts[form.text("left_out")] = ""
        return cls(texts, form)

    def fresh(self, key: str) -> bool:
        """Other words than the page had shown for the line."""
        return digest(self.texts[key]) != self.shown(key)[0]

    def shown(self, key: str) -> list[str]:
        """Of a line as the page had it: its words, and those the record made."""
        return self.form.text(f"{WAS}{key}").split("-")

    def uid(self, key: str) -> str:
        """The same for the same words sent again from the same page."""
        said = [self.form.uid(), key, self.form.text(f"was-{key}"), self.texts[key]]
        return hashlib.sha256("\0".join(said).encode()).hexdigest()[:32]


def keep_lines(
    session: Session, me: Person, visit: Visit, draft: Draft, form: Form, now: datetime
) -> tuple[Typed, dict[str, str]]:
    """Keep each line that was changed; what cannot be kept is said by its key."""
    typed, errors = Typed.read(form), {}
    back = draft.lines.get(form.text("as_made"))
    if back is not None and back.line.key in typed.texts:
        typed.texts[back.line.key] = back.line.made
    for key, text in typed.texts.items():
        shown = draft.lines.get(key)
        if not typed.fresh(key) or (shown and shown.text == text):
            continue
        if len(text) > LONGEST_LINE:
            errors[key] = f"At most {LONGEST_LINE} letters; these are {len(text)}."
            continue
        if shown is None and not text:
            continue
        edit_line(
            session, me, visit, draft.note, key=_known(key),
            section=shown.line.section if shown else _section(form, key), text=text,
            made=shown.line.made if shown else "", uid=typed.uid(key), now=now,
        )  # fmt: skip
    return typed, errors


def changed_since(draft: Draft, typed: Typed) -> bool:
    """Whether a line reads otherwise than the page showed, or is made otherwise.

    Whoever signs has read the page. A form that tells of no line is no page.
    """
    was = {n.removeprefix(WAS) for n in typed.form if n.startswith(WAS)}
    keys = was | draft.lines.keys() if was else was
    return any(_overtaken(draft.lines.get(key), key, typed) for key in keys)


def _overtaken(line: DraftLine | None, key: str, typed: Typed) -> bool:
    text, made = (line.text, line.line.made) if line else ("", "")
    words, *record = typed.shown(key)
    if not words:
        return bool(text)
    mine = key in typed.texts and typed.fresh(key)
    return record[:1] != [digest(made)] or (not mine and words != digest(text))


def _known(key: str) -> str:
    if not 1 <= len(key) <= LONGEST_KEY:
        raise FormProblem("This line was damaged. Open the page again.")
    return key


def _section(form: Form, key: str) -> str:
    """Of a line that is not in the note yet, or whose event has gone meanwhile."""
    section = form.text(f"section-{key}")
    if section not in SECTIONS:
        raise FormProblem("This line was damaged. Open the page again.")
    return section
