"""Files as they go over the wire: packed, without comments, and one edition."""

import gzip
import json
import shutil
import subprocess
from pathlib import Path

import brotli
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.web.assets import Assets
from app.web.joined import CannotJoin, joined


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


def test_modules_are_one_file_without_comments(assets: Assets) -> None:
    body = assets.texts["js/pages.js"].body.decode()

    assert "@ts-check" not in body
    assert all(f"const ${p.stem}=" in body for p in Path("static/js").glob("*.js"))
    assert [name for name in assets.names if name.startswith("js/")] == ["js/pages.js"]


MODULES = {
    "first": 'import { one as two, three } from "./parts.js";\n'
    'import * as all from "./parts.js";\n'
    'const later = () => import("./later.js").then((m) => m.four());\n'
    "globalThis.found = [two(), three, all.three, later()];",
    "parts": "let count = 0;\nexport function one() { return ++count; }\n"
    "export const three = 3;",
    "later": 'import { one } from "./parts.js";\n'
    "export async function four() { return one(); }",
}


def test_joined_modules_do_what_the_modules_do() -> None:
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node on this machine")
    script = joined(MODULES, "first") + (
        "\nPromise.all(found).then((f) => console.log(JSON.stringify(f)));"
    )

    said = subprocess.run([node, "-e", script], capture_output=True, check=True)

    assert json.loads(said.stdout) == [1, 3, 3, 2]


@pytest.mark.parametrize(
    ("source", "why"),
    [
        ("export let count = 0;", "form not known"),
        ("const a = 1; export { a };", "form not known"),
        ('import "./b.js";', "form not known"),
        ('import b from "./b.js";', "form not known"),
        ("export default 1;", "form not known"),
        ('import { b } from "./b.js"; export const a = b;', "circle: a -> b -> a"),
    ],
)
def test_what_cannot_be_joined_stops_the_start(source: str, why: str) -> None:
    modules = {"a": source, "b": 'import { a } from "./a.js"; export const b = a;'}

    with pytest.raises(CannotJoin, match=why):
        joined(modules, "a")


def test_vendored_file_is_served_as_it_was_vendored(assets: Assets) -> None:
    name = next(name for name in assets.texts if name.endswith(".min.js"))

    assert assets.texts[name].body == Path("static", name).read_bytes()


def test_edition_follows_what_is_served(tmp_path: Path) -> None:
    (tmp_path / "a.css").write_text("a { color: red }")
    one = Assets(tmp_path).edition
    (tmp_path / "a.css").write_text("a { color: blue }")

    assert Assets(tmp_path).edition != one
