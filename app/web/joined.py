"""The pages' own modules as one file, so that a phone asks once instead of forty times.

Each module becomes a function called once, in the order in which they need each other;
what it exports is what the function gives back. Only the plain forms our modules use
are known (named exports, named and star imports, imports on demand); anything else is
refused at start, and so is a circle.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Final

import rjsmin

IMPORT: Final = re.compile(
    r"\bimport\s*(?:\{(?P<names>[^}]*)\}|\*\s*as\s+(?P<whole>\w+))\s*"
    r'from\s*"\./(?P<module>\w+)\.js";?'
)
ON_DEMAND: Final = re.compile(r'\bimport\(\s*"\./(?P<module>\w+)\.js"\s*\)')
EXPORT: Final = re.compile(
    r"\bexport\s+(?P<kind>(?:async\s+)?function|const|class)\s+(?P<name>\w+)"
)
LEFT_OVER: Final = re.compile(r'(?:^|[;}\n])\s*(?:import\b|export\b)[\s{*"(]')


class CannotJoin(Exception):
    """A module in a form that is not known here, or a circle of modules."""


def joined(modules: Mapping[str, str], first: str) -> str:
    """One script that does what loading the module `first` does.

    `modules` maps names without ".js" to sources. Raise CannotJoin.

    >>> print(joined({"a": 'import { b } from "./b.js"; b();',
    ...               "b": 'export function b() {}'}, "a"))
    const $b=(()=>{function b(){}
    return{b}})();
    const $a=(()=>{const{b}=$b;b();
    return{}})();
    """
    small = {name: rjsmin.jsmin(source) for name, source in modules.items()}
    return "\n".join(_wrapped(name, small[name]) for name in _in_order(small, first))


def _in_order(modules: Mapping[str, str], first: str) -> list[str]:
    """What a module needs stands before it."""
    done: list[str] = []

    def visit(name: str, path: tuple[str, ...]) -> None:
        if name in path:
            raise CannotJoin(f"modules in a circle: {' -> '.join((*path, name))}")
        if name in done:
            return
        for needed in _needs(modules[name]):
            visit(needed, (*path, name))
        done.append(name)

    visit(first, ())
    return done


def _needs(source: str) -> Iterator[str]:
    for found in (*IMPORT.finditer(source), *ON_DEMAND.finditer(source)):
        yield found["module"]


def _wrapped(name: str, source: str) -> str:
    names = ",".join(found["name"] for found in EXPORT.finditer(source))
    body = EXPORT.sub(r"\g<kind> \g<name>", IMPORT.sub(_taken, source))
    body = ON_DEMAND.sub(r"Promise.resolve($\g<module>)", body)
    if LEFT_OVER.search(body):
        raise CannotJoin(f"{name}.js imports or exports in a form not known here")
    return f"const ${name}=(()=>{{{body}\nreturn{{{names}}}}})();"


def _taken(found: re.Match[str]) -> str:
    taken = found["whole"]
    if taken is None:
        pairs = (part.split() for part in found["names"].split(",") if part.strip())
        taken = ",".join(p[0] if len(p) == 1 else f"{p[0]}:{p[2]}" for p in pairs)
        taken = f"{{{taken}}}"
        return f"const{taken}=${found['module']};"
    return f"const {taken}=${found['module']};"
