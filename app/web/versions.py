"""The version of a row that a form was filled in on."""

from app.web.deps import Form


def version_in(form: Form) -> int:
    """0 for anything that is none, which no row has."""
    text = form.text("version")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0
