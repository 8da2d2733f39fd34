"""Where secrets come from, and what hashes them: read from the program's own text."""

import ast
from collections.abc import Iterator

from tests.live import ROOT
from tests.test_layout import imports_of, name_of, tree_of

TREES = {name_of(path): tree_of(path) for path in (ROOT / "app").rglob("*.py")}
#: Makes what a seed says, again and again: simulated trials, never a secret.
SIMULATED = {"app.practice.chance", "app.practice.draws"}
#: Make tokens, links, keys of phones, keys and salts of backups.
SECRET = {f"app.storage.{name}" for name in ("people", "links", "devices", "sealed")}
#: Of a name, not of a chance: the same name gives the same id (RFC 9562).
NAMED = {"uuid5", "NAMESPACE_OID"}
#: Of the system's source (the library's own documentation).
DRAWN = {"uuid4"}


def of_module(tree: ast.Module, module: str) -> Iterator[str]:
    """What is taken from a module, by its name or by import."""
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id == module
        ):
            yield node.attr
        if isinstance(node, ast.ImportFrom) and node.module == module:
            yield from (alias.name for alias in node.names)


def test_secrets_come_from_the_system() -> None:
    """OWASP ASVS 5.0.0, 11.5.1: nothing that a seed could give again makes one."""
    seeded = {name for name, tree in TREES.items() if "random" in imports_of(tree)}
    drawing = {name for name, tree in TREES.items() if "secrets" in imports_of(tree)}
    ids = {name for tree in TREES.values() for name in of_module(tree, "uuid")}

    assert seeded == SIMULATED
    assert drawing >= SECRET
    assert ids <= NAMED | DRAWN | {"UUID"}


def test_only_sha_256_protects_anything() -> None:
    """OWASP ASVS 5.0.0, 11.4.1 and 11.4.3."""
    hashing = {name for tree in TREES.values() for name in of_module(tree, "hashlib")}
    signing = {name for tree in TREES.values() for name in of_module(tree, "hashes")}

    assert hashing == {"sha256"}
    assert signing == {"SHA256"}
