"""Nothing reads a sentence back: no code compares with prose or searches in it.

A sentence that decides something makes a reworded message a changed result. What a program decides
by is an enum or a plain key; sentences are made of it where they are shown (`snapsim.words`, and
the module of words in other rooms).
"""

import ast
import re
from pathlib import Path

import pytest

import snapsim

ROOT = Path(snapsim.__file__).parent

PROSE = re.compile(r"\S\s+\S")
"""Words with a space between them."""

SENTENCES = frozenset(
    {"reason", "says", "said", "told", "words", "why", "meshes", "message", "warning", "problem"}
    | {"fault", "close_soft_parts", "magnet_chipping", "parted_why"}
)
"""Names of attributes, keys and variables that hold sentences."""

SEARCHES = frozenset(
    {"startswith", "endswith", "find", "rfind", "index", "rindex", "count", "removeprefix"}
    | {"split", "rsplit", "partition", "rpartition", "removesuffix", "match", "search"}
    | {"fullmatch"}
)
"""Methods that look into a text."""

CODES = re.compile(r"^(EndReason|Parting|Meshes|Chipping|LimitVerdict|FateKind|Stop|WayEnd)\.")
"""Members of enums: `run.reason == EndReason.LEFT_SCENE` compares facts, whatever it is called."""


MARKS = {"FORMAT", "FROM_MATERIALS"}
"""Constants that say what a file is by its first words, or that a scene file writes in place of a
number: meant to be compared."""


KEYS = {"study text", "scene file", "stray field"}
"""Names of notes in a ledger: a note of that name is asked for, nothing is searched."""


def prose_names(tree):
    """Names of constants of a module that are prose."""
    found = set()
    for node in ast.walk(tree):
        targets = node.targets if isinstance(node, ast.Assign) else []
        if isinstance(node, ast.AnnAssign):
            targets = [node.target]
        if targets and is_text(node.value) and PROSE.search(node.value.value):
            found |= {t.id for t in targets if isinstance(t, ast.Name) and t.id not in MARKS}
    return found


def is_text(node):
    """Whether a node is a string constant."""
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def from_words(tree):
    """Names that a module imports from a room or module of words."""
    return {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and "words" in (node.module or "").split(".")
        for alias in node.names
    }


def name_of(node):
    """The last name of `a.reason`, `a["reason"]`, `a.get("reason")` or `reason`; "" of others."""
    if isinstance(node, ast.Attribute):
        return node.attr
    if isinstance(node, ast.Subscript):
        key = node.slice
        return key.value if is_text(key) else name_of(node.value)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        if node.func.attr == "get" and node.args and is_text(node.args[0]):
            return node.args[0].value
        return name_of(node.func.value)
    return node.id if isinstance(node, ast.Name) else ""


def is_prose(node, names, makers):
    """Whether a node is a sentence: by its text, by its name, or by what makes it."""
    if is_text(node):
        return bool(PROSE.search(node.value)) and node.value not in KEYS
    if isinstance(node, ast.JoinedStr):
        return any(is_text(v) and PROSE.search(v.value) for v in node.values)
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return any(is_prose(x, names, makers) for x in node.elts)
    if isinstance(node, ast.Name) and node.id in names:
        return True
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        arguments = [name_of(a) for a in node.args]
        told = node.func.id == "str" and {"error", "broken", "exception"} & set(arguments)
        return bool(told) or node.func.id in makers
    return name_of(node) in SENTENCES


def decides(node, names, makers):
    """Whether a node reads a sentence."""
    if isinstance(node, ast.Compare):
        sides = [node.left, *node.comparators]
        if any(is_code(s) for s in sides):
            return False
        if all(isinstance(s, ast.Constant) and s.value is None for s in node.comparators):
            return False
        keys = isinstance(node.ops[0], ast.In | ast.NotIn) and is_key(node)
        return not keys and any(is_prose(s, names, makers) for s in sides)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        if node.func.attr not in SEARCHES:
            return False
        given = [node.func.value, *node.args]
        return any(is_prose(g, names, makers) for g in given) and not splits_lines(node)
    return isinstance(node, ast.MatchValue) and is_prose(node.value, names, makers)


def is_code(node):
    """Whether a node is a member of an enum, or several."""
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return all(is_code(x) for x in node.elts)
    return bool(CODES.match(ast.unparse(node)))


def is_key(node):
    """`"reason" in result`: asks for a key of that name, not for a word in it."""
    return is_text(node.left) and node.left.value in SENTENCES and not name_of(node.comparators[0])


def splits_lines(node):
    """Whether a text is only cut at line ends or spaces, whatever it says."""
    return node.func.attr in ("split", "rsplit", "partition") and (
        not node.args or (is_text(node.args[0]) and not node.args[0].value.strip())
    )


def readers(text):
    """Lines of a module that read sentences back."""
    tree = ast.parse(text)
    names, makers = prose_names(tree), from_words(tree)
    return [
        f"{node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(tree)
        if decides(node, names, makers)
    ]


def test_no_module_reads_a_sentence_back():
    found = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in sorted(ROOT.rglob("*.py"))
        for line in readers(path.read_text(encoding="utf-8"))
    ]
    assert not found, "\n" + "\n".join(found)


@pytest.mark.parametrize(
    "line",
    [
        'kind = "goes away" if "from the scene" in run.reason else "failed"',
        'if run.reason.startswith("interrupted"): pass',
        'if run.reason in (EndReason.INTERRUPTED, "gone away"): pass',
        'FIRST = "the first blow"\nif run.outcome == "stopped" and run.reason != FIRST: pass',
        'bold = "chip" in worst["magnet_chipping"][:14]',
        'style = "" if accuracy["meshes"].startswith("the same") else "bold"',
        'judged = not limit["says"].startswith("not judged")',
        'says = limit["says"].split(": ")[-1].split(";")[0]',
        'SAME = "the same on both meshes"\nif found["meshes"] == SAME: pass',
        'trouble = 1 if str(error) == "unknown" else 2',
        'named = row["setup"] == "as given"',
        'found = {label, other} == {"snaps", "does not snap"}',
        'match kind:\n    case "goes away": pass',
        "from snapsim.words.endings import ending_words\nif x in ending_words(run.ending): pass",
        'said = str(found["msg"]).removeprefix("Value error, ")',
        'if words == f"it went {far} away": pass',
    ],
)
def test_each_way_of_reading_a_sentence_is_noticed(line):
    assert readers(line)


@pytest.mark.parametrize(
    "line",
    [
        "if run.reason == EndReason.INTERRUPTED: pass",
        "if run.reason in (EndReason.INTERRUPTED, EndReason.NOT_FINITE): pass",
        'if run.outcome == "stopped": pass',
        'if shape.kind == "hex_nut": pass',
        'text = " ".join(str(error).split())',
        'first = str(error).split("\\n", 1)[0]',
        "if reason is not None: pass",
        'if key.startswith("body."): pass',
        'parts = text.split(",")',
    ],
)
def test_plain_keys_codes_and_lines_are_let_pass(line):
    assert not readers(line)


_INSIDE = r"(?:(?!(?P={0})).)"
_TEXT = r"""(?P<{0}>["'`/])""" + f"{_INSIDE}*?{_INSIDE}(?<=\\S)\\s+(?=\\S){_INSIDE}+" + r"(?P={0})"
_SAYS = r"\.(?:reason|says|said|words|why|warning|problem|message|error)\b"
_SEARCH = r"\.(?:includes|startsWith|endsWith|indexOf|search|match|split)\("
JAVASCRIPT = re.compile(
    "|".join(
        (
            r"[!=]==?\s*" + _TEXT.format("a"),  # x === "two words"
            _SEARCH + r"\s*" + _TEXT.format("b"),  # x.includes("two words")
            _SAYS + _SEARCH,  # x.reason.includes(
            _SAYS + r"""\s*[!=]==?\s*["'`]\w""",  # x.reason === "gone"
            r"\.test\([^)]*" + _SAYS,  # /gone/.test(x.reason)
        )
    )
)


SCRIPTS = sorted(p for ending in ("*.js", "*.html") for p in ROOT.rglob(ending))


def test_no_script_and_no_template_reads_a_sentence_back():
    assert {"page.js", "setup.html"} <= {path.name for path in SCRIPTS}
    found = [
        f"{path.name}:{number}: {line.strip()[:100]}"
        for path in SCRIPTS
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if JAVASCRIPT.search(line)
    ]
    assert not found, "\n" + "\n".join(found)


@pytest.mark.parametrize(
    ("line", "reads"),
    [
        ('if (x === "goes away") return;', True),
        ('if (s.reason.includes("scene")) return;', True),
        ('if (s.reason === "interrupted") return;', True),
        ("if (/scene/.test(s.reason)) return;", True),
        ('if (text.startsWith("not judged")) return;', True),
        ('if (job.state === "failed") return;', False),
        ('if (s.outcome === "stopped") return;', False),
        ('if (key === " ") return;', False),
        ('<li>{{ p.says.split(";")[0] }}</li>', True),
        ('{% if row.name == "as given" %}', True),
    ],
)
def test_each_way_of_a_script_to_read_a_sentence_is_noticed(line, reads):
    assert bool(JAVASCRIPT.search(line)) is reads
