"""What can be counted of how the source is built, as a table: `python tests/house/house.py [TREE]`.

TREE is a folder with a package `snapsim` in it (default: this checkout).
"""

from __future__ import annotations

import ast
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

MOST_LINES = 30
"""Of a function, from `def` to its last line, as a rule."""

MOST_POSITIONAL = 8
"""Parameters that a call may give by place, `self` left out."""

COMPILERS = ("njit", "compiled", "bare", "part_of_caller", "summing")
"""Words by which a decorator is known that compiles."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


class Source:
    """The modules of the package in the folder `tree`, by their paths within it."""

    def __init__(self, tree: Path) -> None:
        self.lines, self.modules = 0, {}
        for path in sorted((tree / "snapsim").rglob("*.py")):
            text = path.read_text(encoding="utf-8")
            self.lines += text.count("\n")
            self.modules[path.relative_to(tree).as_posix()] = ast.parse(text)

    def classes(self) -> Iterator[tuple[str, ast.ClassDef]]:
        """Yield the path and the definition of every class."""
        return self._all(ast.ClassDef)

    def functions(self) -> Iterator[tuple[str, Function]]:
        """Yield the path and the definition of every function and method."""
        return self._all(Function)

    def aliases(self) -> Iterator[tuple[str, str, str]]:
        """Yield path, name and meaning of every module's own names for types.

        A type variable is none: it stands for any type, and means nothing outside its function.
        """
        for path, module in self.modules.items():
            for node in module.body:
                for name in _assigned(node):
                    meaning = ast.unparse(node.value)
                    if _is_type_name(name) and "TypeVar(" not in meaning:
                        yield path, name, meaning

    def _all(self, kind: type) -> Iterator[tuple[str, ast.AST]]:
        for path, module in self.modules.items():
            yield from ((path, n) for n in ast.walk(module) if isinstance(n, kind))


def names_twice(source: Source) -> dict[str, list[str]]:
    """Return names of classes and of types that mean several things, with where they stand.

    The same name for the same type (`Six`, a tuple of six numbers) means one thing.
    """
    found: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for path, node in source.classes():
        found[node.name].append((path, f"{path}:{node.lineno}"))
    for path, name, meaning in source.aliases():
        found[name].append((path, meaning))
    several = {n: at for n, at in found.items() if len({meaning for _, meaning in at}) > 1}
    return {name: [path for path, _ in at] for name, at in sorted(several.items())}


def many_positional(source: Source, most: int = MOST_POSITIONAL) -> list[tuple[str, Function, int]]:
    """Return path, definition and number of functions with more than `most` positional parameters.

    Left out is `cli`, where a command's parameters are its options, read by their names.
    """
    found = []
    for path, node in source.functions():
        given = [a for a in (*node.args.posonlyargs, *node.args.args) if a.arg not in _OWN]
        if len(given) > most and not path.startswith("snapsim/cli/"):
            found.append((path, node, len(given)))
    return found


_OWN = ("self", "cls")


def is_kernel(node: Function) -> bool:
    """Is it compiled? Such a function takes arrays and numbers alone, no records."""
    words = [ast.unparse(d) for d in node.decorator_list]
    return any(word in text for text in words for word in COMPILERS)


def long_functions(source: Source, most: int = MOST_LINES) -> list[tuple[str, Function, int]]:
    """Return path, definition and lines of functions longer than `most` lines."""
    sized = ((path, n, n.end_lineno - n.lineno + 1) for path, n in source.functions())
    return [(path, n, lines) for path, n, lines in sized if lines > most]


def import_circles(source: Source) -> list[list[str]]:
    """Return groups of modules that import each other, be it within functions; what only the type
    checker reads does not count."""
    of_path = {path: _dotted(path) for path in source.modules}
    names = set(of_path.values())
    graph = {of_path[p]: _imported(m, names) - {of_path[p]} for p, m in source.modules.items()}
    reached = {name: _reached(graph, name) for name in graph}
    circles = {frozenset({n, *(o for o in reached[n] if n in reached[o])}) for n in graph}
    return sorted(sorted(c) for c in circles if len(c) > 1)


def _dotted(path: str) -> str:
    return path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def _imported(module: ast.Module, names: set[str]) -> set[str]:
    found, left = set(), list(module.body)
    while left:
        node = left.pop()
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        if isinstance(node, ast.ImportFrom):
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= (whole & names) or {node.module or ""}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        left += ast.iter_child_nodes(node)
    return found & names


def _reached(graph: dict[str, set[str]], start: str) -> set[str]:
    found, left = set(), [start]
    while left:
        new = graph[left.pop()] - found
        found |= new
        left += new
    return found


def largest_class(source: Source) -> tuple[str, int]:
    """Return the name and the lines of the largest class."""
    sized = [(n.end_lineno - n.lineno + 1, n.name) for _, n in source.classes()]
    lines, name = max(sized)
    return name, lines


def mutable_fields(source: Source) -> list[str]:
    """Return what may change while it is used: fields of dataclasses that are not frozen, and what
    methods other than `__init__` assign to `self`."""
    return [f"{path} {node.name}.{x}" for path, node in source.classes() for x in _mutable(node)]


def _mutable(node: ast.ClassDef) -> list[str]:
    how = [ast.unparse(d) for d in node.decorator_list if "dataclass" in ast.unparse(d)]
    loose = [n for n in node.body if isinstance(n, ast.AnnAssign)] if how else []
    if how and "frozen=True" in how[0]:
        loose = []
    fields = {ast.unparse(n.target) for n in loose}
    for method in node.body:
        if isinstance(method, Function) and method.name not in ("__init__", "__post_init__"):
            fields |= {n.attr for n in ast.walk(method) if _sets_self(n)}
    return sorted(fields)


def _sets_self(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Attribute)
        and isinstance(node.ctx, ast.Store)
        and isinstance(node.value, ast.Name)
        and node.value.id == "self"
    )


def _assigned(node: ast.stmt) -> list[str]:
    if not isinstance(node, ast.Assign):
        return []
    return [t.id for t in node.targets if isinstance(t, ast.Name)]


def _is_type_name(name: str) -> bool:
    plain = name.lstrip("_")
    return plain[:1].isupper() and not plain.isupper()


def table(source: Source) -> list[tuple[str, str]]:
    """Return what is counted, in words, and how much it is."""
    many = many_positional(source)
    long = long_functions(source)
    name, lines = largest_class(source)
    kernels = sum(is_kernel(n) for _, n, _ in many)
    longest = max(long, key=lambda x: x[2])
    return [
        ("modules", str(len(source.modules))),
        ("lines", str(source.lines)),
        ("functions", str(sum(1 for _ in source.functions()))),
        ("classes", str(sum(1 for _ in source.classes()))),
        ("largest class, lines", f"{lines} ({name})"),
        ("mutable fields", str(len(mutable_fields(source)))),
        (f"functions over {MOST_LINES} lines", str(len(long))),
        ("longest function, lines", f"{longest[2]} ({longest[1].name})"),
        (f"functions of over {MOST_POSITIONAL} positional parameters", str(len(many) - kernels)),
        (f"kernels of over {MOST_POSITIONAL}", str(kernels)),
        ("names of types with several meanings", str(len(names_twice(source)))),
        ("groups of modules that import each other", str(len(import_circles(source)))),
    ]


if __name__ == "__main__":
    given = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[2]
    for what, amount in table(Source(given)):
        print(f"{what:48}{amount}")
