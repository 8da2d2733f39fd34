"""The pages' own modules as a few files: a phone asks once instead of forty times.

Each module becomes a function called once, in the order in which they need each other;
what it exports is what the function gives back. What is needed at once makes the first
file. A module that is imported on demand goes, with whatever only it needs, into the
bundle it is told to; a bundle imports from the first file what it shares with it, so
that there is one instance of everything. Only the plain forms our modules use are known
(named exports, named and star imports, imports on demand); anything else is refused at
start, and so is a circle.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
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

#: What each module imports at once, searched for once.
Needs = Mapping[str, Sequence[str]]


class CannotJoin(Exception):
    """A module in a form that is not known here, or a circle of modules."""


@dataclass(frozen=True, slots=True)
class Start:
    """The module that starts, and the name of the file that holds it."""

    module: str
    file: str


def joined(
    modules: Mapping[str, str], start: Start, on_demand: Mapping[str, str]
) -> dict[str, str]:
    """By name of file, scripts that together do what loading `start.module` does.

    `modules` maps names without ".js" to sources, `on_demand` each module that is
    imported on demand to its file. What two bundles need stands in the first file.
    Raise CannotJoin.

    >>> made = joined({"a": 'import("./b.js");', "b": 'export function b() {}'},
    ...               Start("a", "pages"), {"b": "more"})
    >>> print(made["pages"])
    const $a=(()=>{import("./more.js").then(m=>m.$b);
    return{}})();
    >>> print(made["more"])
    const $b=(()=>{function b(){}
    return{b}})();
    export{$b};
    """
    small = {name: rjsmin.jsmin(source) for name, source in modules.items()}
    needs = {name: _needed(source) for name, source in small.items()}
    asked = {module for source in small.values() for module in _asked(source)}
    _check(needs, asked, start, on_demand)
    reached = {
        file: _in_order(needs, [m for m, its in on_demand.items() if its == file])
        for file in sorted(set(on_demand.values()))
    }
    times = Counter(name for names in reached.values() for name in names)
    first = _first(needs, start, times)
    wrapped = {n: _wrapped(n, source, on_demand) for n, source in small.items()}
    taken = [n for n in first if times[n]]
    made = {start.file: _file([wrapped[name] for name in first], gives=taken)}
    for file, names in reached.items():
        own = [name for name in names if name not in first]
        bodies = [wrapped[name] for name in own]
        entries = [name for name in own if name in on_demand]
        from_first = [name for name in names if name in first]
        made[file] = _file(bodies, gives=entries, takes=from_first, at=start.file)
    return made


def as_script(source: str) -> str:
    """A module that imports nothing, as part of a script that is no module.

    >>> as_script("export function one() {}")
    'function one() {}'
    """
    return EXPORT.sub(r"\g<kind> \g<name>", source)


def _first(needs: Needs, start: Start, times: Mapping[str, int]) -> list[str]:
    """What the start needs, in its own order, after what several bundles need more."""
    own = _in_order(needs, [start.module])
    shared = [name for name, count in times.items() if count > 1 and name not in own]
    return _in_order(needs, [*shared, start.module])


def _check(
    needs: Needs, asked: set[str], start: Start, on_demand: Mapping[str, str]
) -> None:
    """What is asked for on demand has a file, and nobody needs it at once as well."""
    first = _in_order(needs, [start.module])
    if missing := asked - set(on_demand):
        raise CannotJoin(f"no file is named for {', '.join(sorted(missing))}")
    for entry, file in on_demand.items():
        others = {e for e, its in on_demand.items() if its != file}
        if entry in first or entry in _in_order(needs, others):
            raise CannotJoin(f"{entry}.js is needed at once and on demand")


def _in_order(needs: Needs, names: Iterable[str]) -> list[str]:
    """What a module needs stands before it."""
    done: list[str] = []

    def visit(name: str, path: tuple[str, ...]) -> None:
        if name in path:
            raise CannotJoin(f"modules in a circle: {' -> '.join((*path, name))}")
        if name in done:
            return
        for needed in needs[name]:
            visit(needed, (*path, name))
        done.append(name)

    for name in names:
        visit(name, ())
    return done


def _needed(source: str) -> tuple[str, ...]:
    return tuple(found["module"] for found in IMPORT.finditer(source))


def _asked(source: str) -> Iterator[str]:
    for found in ON_DEMAND.finditer(source):
        yield found["module"]


def _wrapped(name: str, source: str, on_demand: Mapping[str, str]) -> str:
    def loaded(found: re.Match[str]) -> str:
        module = found["module"]
        return f'import("./{on_demand[module]}.js").then(m=>m.${module})'

    names = ",".join(found["name"] for found in EXPORT.finditer(source))
    body = EXPORT.sub(r"\g<kind> \g<name>", IMPORT.sub(_taken, source))
    if LEFT_OVER.search(ON_DEMAND.sub("", body)):
        raise CannotJoin(f"{name}.js imports or exports in a form not known here")
    body = ON_DEMAND.sub(loaded, body)
    return f"const ${name}=(()=>{{{body}\nreturn{{{names}}}}})();"


def _file(
    bodies: Iterable[str], gives: Iterable[str], takes: Iterable[str] = (), at: str = ""
) -> str:
    took = ",".join(f"${name}" for name in takes)
    gave = ",".join(f"${name}" for name in gives)
    lines = [f'import{{{took}}}from"./{at}.js";' if took else "", *bodies]
    lines.append(f"export{{{gave}}};" if gave else "")
    return "\n".join(filter(None, lines))


def _taken(found: re.Match[str]) -> str:
    taken = found["whole"]
    if taken is None:
        pairs = (part.split() for part in found["names"].split(",") if part.strip())
        taken = ",".join(p[0] if len(p) == 1 else f"{p[0]}:{p[2]}" for p in pairs)
        taken = f"{{{taken}}}"
        return f"const{taken}=${found['module']};"
    return f"const {taken}=${found['module']};"
