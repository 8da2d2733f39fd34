"""What a hostile sender types, and the forms of the pages it is typed into."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from selectolax.lexbor import LexborHTMLParser, LexborNode

Pairs = tuple[tuple[str, str], ...]
SCRIPT: Final = "<script>alert(1)</script>"
#: What breaks parsers and numbers: too long, too large, of another kind.
BREAKING: Final = (
    "9" * 30,
    "-" + "9" * 12,
    "9" * 5000,
    "1e999",
    "nan",
    "-1",
    "0",
    "²",
    "٣",
    "2026-02-31",
    "9999-12-31",
    "0001-01-01T00:00",
    "9" * 18 + "-01-01",
    "null",
    "[]",
    "x" * 10_000,
)
#: What no keyboard sends: control characters, marks of direction, no characters at all.
UNSEEN: Final = (
    "a\0b",
    "\x01\x1b[2J\x7f\x85",
    "a\r\nSet-Cookie: tapeline=x",
    "\u202eabc\u202c\u2066\ufeff",
    "\ufffe\uffff\U0010ffff",
    "Z͑ͫ̓ͪ̂ͫ̽͏̴̙̤̞͉͚̯̞̠͍" * 20,
    " \t\n\u00a0\u2028\u2029 ",
    "👩\u200d🦽" * 30,
)
#: What runs somewhere: a page, a template, a database, a spreadsheet, a shell, a path.
RUNNING: Final = (
    SCRIPT,
    "\"><img src=x onerror=alert(1)>'",
    "<svg onload=alert(1)><style>*{display:none}</style>",
    "javascript:alert(1)",
    "{{ 7*7 }}{% include 'base.html' %}${7*7}",
    "'; DROP TABLE person; --",
    "' OR '1'='1",
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1+1",
    "../../../../etc/passwd",
    "%s%n%(name)s{0.__class__}",
    "$(touch x)`id`",
    "&#60;b&#62;&lt;i&gt;",
)
CLASSES: Final = {"breaking": BREAKING, "unseen": UNSEEN, "running": RUNNING}


@dataclass(frozen=True)
class PageForm:
    """A form as a page offers it, filled in as a person might."""

    action: str
    filled: Pairs

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(dict(self.filled))


def forms_of(html: str, address: str) -> Iterator[PageForm]:
    """The forms of a page that change something."""
    for form in LexborHTMLParser(html).css("form"):
        if (form.attributes.get("method") or "").lower() == "post":
            action = (form.attributes.get("action") or address).partition("#")[0]
            pairs = [p for n in form.css("[name]") for p in _value(n)]
            yield PageForm(action.partition("?")[0], tuple(pairs))


def _value(field: LexborNode) -> Iterator[tuple[str, str]]:
    said = field.attributes
    name, kind = said.get("name") or "", said.get("type") or "text"
    if not name or kind == "file":
        return
    if field.tag == "select":
        values = [o.attributes.get("value") or "" for o in field.css("option")]
        yield name, next(filter(None, values), "")
    elif field.tag == "textarea":
        yield name, field.text() or "As it was"
    elif kind == "number":
        yield name, said.get("value") or said.get("min") or "1"
    else:
        yield name, said.get("value") or ("" if kind == "hidden" else "As it was")


def harvest(pages: Mapping[str, str]) -> dict[str, dict[str, Pairs]]:
    """By action: every field that any page sends there, and what it holds."""
    found: dict[str, dict[str, Pairs]] = {}
    for address, html in pages.items():
        for form in forms_of(html, address):
            fields = found.setdefault(form.action, {})
            for name in form.names:
                fields.setdefault(name, tuple(p for p in form.filled if p[0] == name))
    return found


def live(html: str) -> list[str]:
    """What of a page would run, or was made an element by somebody's text."""
    page = LexborHTMLParser(html)
    found = [n.html or "" for n in page.css("script:not([src]), x-m, style, iframe")]
    for node in page.css("*"):
        for name, value in node.attributes.items():
            # A browser takes blanks out of an address before it looks at its kind.
            said = "".join((value or "").split()).lower()
            address = name in ("href", "src", "action", "formaction", "hx-post")
            if name.startswith("on") or (
                address and said.startswith(("javascript:", "data:", "vbscript:"))
            ):
                found.append(f"{name}={value}")
    return found


def is_off_site(location: str) -> bool:
    """Whether a browser would leave this site for such a redirect."""
    return bool(location) and (
        not location.startswith("/")
        or location[1:2] in ("/", "\\")
        or any(c <= " " for c in location)
    )
