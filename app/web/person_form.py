"""What is typed of somebody who works here, and what is wrong with it."""

import re
from typing import Final

from app.access import ROLES
from app.guessing import why_not
from app.web.deps import Form

HANDLE: Final = re.compile(r"[^\s/]{1,60}")
LONGEST_NAME: Final = 80


def passphrase_errors(form: Form, about: tuple[str, ...]) -> dict[str, str]:
    """What is wrong with a new passphrase, beside its field."""
    wrong = why_not(form.get("passphrase", ""), about)
    return {"passphrase": wrong} if wrong else {}


def person_errors(form: Form) -> dict[str, str]:
    """What is wrong with a person's name, handle or role."""
    errors = {}
    name = form.text("name")
    if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable():
        errors["name"] = f"1 to {LONGEST_NAME} letters on one line."
    handle = form.text("handle").lower()  # which may be longer than what was typed
    if not HANDLE.fullmatch(handle) or not handle.isprintable():
        errors["handle"] = "One word of at most 60 letters, without blanks."
    if form.text("role") not in ROLES:
        errors["role"] = "Choose what they do here."
    return errors


def about(form: Form) -> tuple[str, ...]:
    return (form.text("name"), form.text("handle"))
