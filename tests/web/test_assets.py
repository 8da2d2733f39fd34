"""Files as they go over the wire: packed, without comments, and one edition."""

import gzip
import json
import re
import shutil
import subprocess
from collections import Counter
from pathlib import Path

import brotli
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.web.assets import Assets
from app.web.joined import CannotJoin, Start, joined


@pytest.fixture
def assets(app: FastAPI) -> Assets:
    found = app.state.assets
    assert isinstance(found, Assets)
    return found


@pytest.mark.parametrize(
    ("accepted", "coding"),
    [
        ("gzip, deflate, br, zstd", "br"),
        ("gzip, deflate", "gzip"),
        ("identity", None),
    ],
)
def test_text_comes_in_a_coding_the_browser_takes(
    client: TestClient, assets: Assets, accepted: str, coding: str | None
) -> None:
    with client.stream(
        "GET", assets.url("js/pages.js"), headers={"accept-encoding": accepted}
    ) as answer:
        raw = b"".join(answer.iter_raw())

    assert answer.headers.get("content-encoding") == coding
    assert answer.headers["content-type"].startswith("text/javascript")
    unpack = {"br": brotli.decompress, "gzip": gzip.decompress, None: bytes}[coding]
    assert unpack(raw) == assets.texts["js/pages.js"].body


def holds(script: str) -> set[str]:
    return set(re.findall(r"^const \$(\w+)=", script, re.MULTILINE))


def test_every_module_stands_in_one_file_without_comments(assets: Assets) -> None:
    files = {n: t.body.decode() for n, t in assets.texts.items() if n.startswith("js/")}
    places = Counter(module for body in files.values() for module in holds(body))

    assert not any("@ts-check" in body for body in files.values())
    assert dict(places) == {p.stem: 1 for p in Path("static/js").glob("*.js")}
    assert {n for n in assets.names if n.startswith("js/")} == set(files)


def test_what_only_some_pages_need_is_not_on_every_page(assets: Assets) -> None:
    files = {
        name: holds(assets.texts[f"js/{name}.js"].body.decode())
        for name in ("pages", "sheet", "treat", "watch")
    }

    assert {"bedside", "bedside_test", "attach", "held_run"} <= files["sheet"]
    assert {"stopwatch", "reps", "stages", "standing"} <= files["watch"]
    assert {"caller_tool", "hold_tool", "rest_tool"} <= files["treat"]
    assert {"outbox", "kept", "cues", "waits"} <= files["pages"]


START = Start("first", "pages")
MODULES = {
    "first": 'import { one as two, three } from "./parts.js";\n'
    'import * as all from "./parts.js";\n'
    'const later = () => import("./later.js").then((m) => m.four());\n'
    'const other = () => import("./other.js").then((m) => m.five());\n'
    "globalThis.found = [two(), three, all.three, later(), other()];",
    "parts": "let count = 0;\nexport function one() { return ++count; }\n"
    "export const three = 3;",
    "later": 'import { one } from "./parts.js";\nimport { both } from "./both.js";\n'
    'import { only } from "./only.js";\n'
    "export async function four() { return [one(), both(), only]; }",
    "other": 'import { both } from "./both.js";\n'
    "export async function five() { return both(); }",
    "both": "let uses = 10;\nexport function both() { return ++uses; }",
    "only": "export const only = 7;",
}
IN_FILES = {"later": "some", "other": "more"}


def test_joined_modules_do_what_the_modules_do(tmp_path: Path) -> None:
    """Across files too: a module that two files use is there once."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node on this machine")
    for name, script in joined(MODULES, START, IN_FILES).items():
        (tmp_path / f"{name}.js").write_text(script)
    (tmp_path / "package.json").write_text('{"type": "module"}')
    (tmp_path / "run.js").write_text(
        'await import("./pages.js");\n'
        "console.log(JSON.stringify(await Promise.all(found)));"
    )

    said = subprocess.run([node, tmp_path / "run.js"], capture_output=True, check=True)

    one, three, again, (two, both, only), later = json.loads(said.stdout)
    assert (one, three, again, two, only) == (1, 3, 3, 2, 7)
    assert {both, later} == {11, 12}


def test_what_two_files_need_stands_in_the_first() -> None:
    made = {
        name: holds(text) for name, text in joined(MODULES, START, IN_FILES).items()
    }

    assert made == {
        "pages": {"first", "parts", "both"},
        "some": {"later", "only"},
        "more": {"other"},
    }


@pytest.mark.parametrize(
    ("source", "why"),
    [
        ("export let count = 0;", "form not known"),
        ("const a = 1; export { a };", "form not known"),
        ('import "./b.js";', "form not known"),
        ('import b from "./b.js";', "form not known"),
        ("export default 1;", "form not known"),
        ('import { b } from "./b.js"; export const a = b;', "circle: a -> b -> a"),
        ('const c = () => import("./c.js");', "no file is named for c"),
        ('import { d } from "./d.js"; import("./d.js");', "at once and on demand"),
    ],
)
def test_what_cannot_be_joined_stops_the_start(source: str, why: str) -> None:
    modules = {
        "a": source,
        "b": 'import { a } from "./a.js"; export const b = a;',
        "c": "",
        "d": "export const d = 1;",
    }

    with pytest.raises(CannotJoin, match=why):
        joined(modules, Start("a", "pages"), {"d": "more"})


def test_vendored_file_is_served_as_it_was_vendored(assets: Assets) -> None:
    name = next(name for name in assets.texts if name.endswith(".min.js"))

    assert assets.texts[name].body == Path("static", name).read_bytes()


def test_edition_follows_what_is_served(tmp_path: Path) -> None:
    (tmp_path / "a.css").write_text("a { color: red }")
    one = Assets(tmp_path).edition
    (tmp_path / "a.css").write_text("a { color: blue }")

    assert Assets(tmp_path).edition != one
