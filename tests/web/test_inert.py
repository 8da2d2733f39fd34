"""Script and formulas in every text of the record: inert, and shown as they were typed.

Each text column of the invented site holds its own mark; then every kind of page, every
export and the log are read.
"""

import csv
import hashlib
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import unquote_plus

import httpx2
import pytest
from selectolax.lexbor import LexborHTMLParser
from sqlalchemy import Connection, text
from starlette.testclient import TestClient

from app.cli import main
from app.commands.demo_folder import DATABASE, MARKER
from app.exports.csv_cells import plain, safe
from app.main import create_app
from app.settings import Settings
from app.storage.database import make_engine
from app.storage.tables import Table
from tests.built_demo import CopyDemo
from tests.conftest import client_of
from tests.test_cli_exports import update_rows
from tests.web.hostile import live

#: Columns that only the program writes: words of closed lists, ids, hashes, editions.
OURS = {
    "uid", "hash", "passphrase_hash", "token_hash", "key_hash", "pin_hash", "body_hash",
    "signed_hash", "measure", "variant", "edition", "version", "zone", "activity",
    "case_id", "key_distance", "distance", "grade", "lead_source", "rule", "step",
    "handle", "key", "value", "kind", "deficit", "question", "code", "proposed",
    "line_key", "filters", "path", "body", "unit", "purpose", "condition", "against",
    "raw_value", "raw_unit", "target_value", "target_unit", "item", "change_verdict",
    "task", "role", "made",
}  # fmt: skip
#: Values of forms kept as JSON, and a closed word: the program would not know them.
NOT_WORDS = {"round.facts", "trial.inputs", "trial.clocks", "vital_signs.oxygen"}
TABLES = {"audit_check", "audit_head", "audit_entry", "guess_wait", "number_mark",
          "owed_basis", "sign_in", "device"}  # fmt: skip
MARKED = re.compile(r"=c\d+\"'")
RISKY = re.compile("[=+\\-@\t\r\n＝＋－＠]")
#: Some of those that the pages must have shown.
MUST = {
    "person.name", "patient.label", "episode.reason", "precaution.note",
    "activity_set.note", "goal.phrase", "assignment.note",
}  # fmt: skip


def mark(number: int) -> str:
    """A text that a page, a template or a spreadsheet might run, and short."""
    return f"=c{number}\"'><x-m>{{{{7*7}}}}"


@dataclass
class Planted:
    data: Path
    #: Table and column by the mark it holds.
    columns: dict[str, str]
    pages: dict[str, str] = field(default_factory=dict)
    #: What each page was sent with, and the sign-ins it was sent to.
    heads: dict[str, str] = field(default_factory=dict)
    tokens: list[str] = field(default_factory=list)

    def texts(self) -> set[str]:
        """Addresses of what is sent as plain text, to be copied."""
        return {at for at in self.pages if at.endswith("/text")}


def plant(connection: Connection) -> dict[str, str]:
    """A mark of its own in each column that somebody may fill in, in all its rows."""
    planted: dict[str, str] = {}
    for table in Table.metadata.sorted_tables:
        for column in table.columns:
            name = f"{table.name}.{column.name}"
            if table.name in TABLES or column.name in OURS or name in NOT_WORDS:
                continue
            sign, kind = mark(len(planted)), str(column.type)
            if kind == "VARCHAR":
                said = "'" + sign.replace("'", "''") + "'"
                # Labels and names are told apart by what stands behind the mark.
                tries = (said, f"{said} || rowid")
                if any(update_rows(connection, table, column.name, t) for t in tries):
                    planted[sign] = name
            elif kind == "JSON" and _words(connection, table.name, column.name, sign):
                planted[sign] = name
    return planted


def _words(connection: Connection, table: str, column: str, sign: str) -> bool:
    """The mark in place of each sentence of what is kept as JSON."""
    rows = connection.execute(
        text(f"SELECT rowid, {column} FROM {table} WHERE {column} IS NOT NULL")
    ).all()
    held = {row: json.loads(said) for row, said in rows}
    changed = {row: _said(said, sign) for row, said in held.items()}
    connection.execute(
        text(f"UPDATE {table} SET {column} = :said WHERE rowid = :row"),
        [{"said": json.dumps(said), "row": row} for row, said in changed.items()]
        or [{"said": "", "row": 0}],
    )
    return changed != held


def _said(held: Any, sign: str) -> Any:
    if isinstance(held, dict):
        return {key: _said(value, sign) for key, value in held.items()}
    if isinstance(held, list):
        return [_said(value, sign) for value in held]
    return sign if isinstance(held, str) and " " in held else held


@pytest.fixture(scope="module")
def planted(
    tmp_path_factory: pytest.TempPathFactory, copy_demo: CopyDemo
) -> Iterator[Planted]:
    data = tmp_path_factory.mktemp("inert")
    (data / MARKER).write_text("invented")
    engine = make_engine(f"sqlite:///{copy_demo(data / DATABASE)}")
    with engine.begin() as connection:
        made = Planted(data, plant(connection))
        asked = (
            "SELECT patient_id FROM episode JOIN goal ON goal.episode_id = episode.id"
        )
        with_goals = connection.execute(text(asked)).scalars().first()
    engine.dispose()
    app = create_app(Settings(data_dir=data, site_timezone="UTC", demo=True))
    for role in ("therapist", "supervisor"):
        browser = client_of(app)
        browser.post("/demo/enter", data={"role": role})
        made.tokens += browser.cookies.values()
        for at, answer in crawl(browser, with_goals):
            made.pages[f"{role} {at}"] = answer.text
            made.heads[f"{role} {at}"] = str(answer.headers.multi_items())
    yield made
    app.state.site.engine.dispose()


def crawl(
    browser: TestClient, patient: int | None
) -> Iterator[tuple[str, httpx2.Response]]:
    """What links lead to, one page of each kind."""
    kinds: set[str] = set()
    waiting = [
        "/home",
        "/caseload",
        "/desk",
        "/audit",
        "/review",
        f"/patients/{patient}",
        f"/patients/{patient}/goals",
    ]
    while waiting:
        at = waiting.pop(0)
        kind = re.sub(
            r"\d+|(?<=/measures/)\w+|(?<=/help/)\w+", "N", at.partition("?")[0]
        )
        if kind in kinds:
            continue
        kinds.add(kind)
        answer = browser.get(at)
        if answer.status_code == 303:
            waiting.append(answer.headers["location"].partition("#")[0])
            continue
        assert answer.status_code in (200, 403, 404), f"{at}: {answer.status_code}"
        kind = "text/plain" if at.endswith("/text") else "text/html"
        assert answer.headers["content-type"] == f"{kind}; charset=utf-8"
        yield at, answer
        for link in LexborHTMLParser(answer.text).css("a[href^='/']"):
            waiting.append((link.attributes["href"] or "").partition("#")[0])


def test_pages_show_it_and_run_nothing(planted: Planted) -> None:
    pages, texts = planted.pages, planted.texts()
    running = {at: live(page) for at, page in pages.items() if at not in texts}
    shown = {at: LexborHTMLParser(p).text() for at, p in pages.items()}
    whole = "".join(shown.values()) + "".join(pages[at] for at in texts)
    told = {name for sign, name in planted.columns.items() if sign in whole}

    assert {at: found for at, found in running.items() if found} == {}
    assert len(pages) > 90
    assert texts
    assert told >= MUST
    assert "{{7*7}}" in whole


def test_no_address_tells_what_was_typed(planted: Planted) -> None:
    """Addresses stay in histories and logs of proxies; a text is sent in a body."""
    addresses = {
        at: [unquote_plus(said) for said in addresses_in(page)]
        for at, page in planted.pages.items()
        if at not in planted.texts()
    }
    told = {at: [a for a in all if MARKED.search(a)] for at, all in addresses.items()}

    assert sum(map(len, addresses.values())) > 2000
    assert {at: found for at, found in told.items() if found} == {}


def addresses_in(page: str) -> Iterator[str]:
    ways = ("href", "src", "action", "formaction", "hx-get", "hx-post")
    for node in LexborHTMLParser(page).css(", ".join(f"[{way}]" for way in ways)):
        yield from (node.attributes.get(way) or "" for way in ways)


def test_nothing_repeats_the_token(planted: Planted) -> None:
    """Not the token of the sign-in, nor the hash it is kept as."""
    hashes = [hashlib.sha256(token.encode()).hexdigest() for token in planted.tokens]
    kept = planted.pages | {f"head of {at}": head for at, head in planted.heads.items()}
    telling = [
        at
        for at, said in kept.items()
        if any(secret in said for secret in (*planted.tokens, *hashes))
    ]

    assert len(planted.tokens) == 2
    assert len(kept) == 2 * len(planted.pages)
    assert min(map(len, planted.tokens)) > 40
    assert telling == []


def test_exports_hold_it_as_text(planted: Planted, tmp_path: Path) -> None:
    """A spreadsheet runs no cell of ours, and each comes back as it was typed."""
    given = ["export", "--data", str(planted.data)]
    for way in ("--csv", "--out", "--fhir"):
        demo = ["--demo"] if way == "--fhir" else []
        assert main([*given, way, str(tmp_path / way), *demo]) == 0
    files = list(tmp_path.glob("--[co]*/*.csv"))
    cells = [
        cell
        for file in files
        for row in csv.reader(io.StringIO(file.read_text("utf-8-sig"), newline=""))
        for cell in row
    ]
    bundles = [json.loads(f.read_text()) for f in tmp_path.glob("--fhir/*.json")]
    in_fhir = json.dumps(bundles, ensure_ascii=False).replace('\\"', '"')

    assert len(files) >= 5
    assert len(bundles) > 5
    assert [c for c in cells if RISKY.match(c)] == []
    assert [c for c in cells if safe(plain(c)) != c] == []
    for name in ("patient.label", "episode.reason", "precaution.note"):
        sign = next(s for s, n in planted.columns.items() if n == name)
        assert any(sign in plain(cell) for cell in cells), name
    assert sum(sign in in_fhir for sign in planted.columns) > 5


def test_log_knows_nothing_of_it(planted: Planted) -> None:
    log = (planted.data / "tapeline.log").read_text()

    assert "GET /patients/{patient_id} 200" in log
    assert "ERROR" not in log
    assert not MARKED.search(log)
