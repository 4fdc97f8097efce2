"""House rules that no linter checks: small rooms, small modules, and facts that are never parsed out of words."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
MOST_MODULES = 20
MOST_LINES = 400
SAID = {"text", "method"}
"""Attributes that hold what a person reads."""
TAKES_APART = {"partition", "rpartition", "split", "rsplit", "startswith", "endswith", "removeprefix", "removesuffix"}
MATCHES = {"match", "search", "fullmatch", "findall", "finditer", "split", "sub"}
MAY_PARSE = {Path("bench/session/record/migrate.py"), Path("bench/procedure/load/toml_lines.py")}
"""Files of earlier schemas hold facts as words, which have to be read to bring them up; the other's text is a file."""

Rule = Callable[[Path], Iterator[str]]


def modules(root: Path) -> list[Path]:
    """All modules of the program and of its tests, from the project's folder."""
    return sorted(path.relative_to(root) for top in ("bench", "tests") for path in (root / top).rglob("*.py"))


def tree(root: Path, module: Path) -> ast.Module:
    return ast.parse((root / module).read_text(encoding="utf-8"))


def crowded_folders(root: Path) -> Iterator[str]:
    folders = [path.parent for path in modules(root) if path.name != "__init__.py"]
    for folder in sorted(set(folders)):
        if folders.count(folder) > MOST_MODULES:
            yield f"{folder}: {folders.count(folder)} modules"


def long_modules(root: Path) -> Iterator[str]:
    for module in modules(root):
        if module.parts[0] != "bench":
            continue
        lines = len((root / module).read_text(encoding="utf-8").splitlines())
        if lines > MOST_LINES:
            yield f"{module}: {lines} lines"


def is_said(node: ast.expr) -> bool:
    return isinstance(node, ast.Attribute) and node.attr in SAID


def parses_words(node: ast.AST) -> bool:
    """Whether a piece of code parses a fact out of words: `e.text.partition(":")`, `"found by" in r.method`, `re.…`."""
    if isinstance(node, ast.Compare):
        operators = zip(node.ops, node.comparators, strict=True)
        return any(isinstance(op, ast.In | ast.NotIn) and is_said(where) for op, where in operators)
    if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
        return False
    if node.func.attr in TAKES_APART and is_said(node.func.value):
        return True
    return node.func.attr in MATCHES and any(is_said(argument) for argument in node.args)


def parsed_words(root: Path) -> Iterator[str]:
    for module in modules(root):
        if module.parts[0] == "bench" and module not in MAY_PARSE:
            for node in ast.walk(tree(root, module)):
                if parses_words(node):
                    yield f"{module}:{getattr(node, 'lineno', 0)}"


def constructor(cls: ast.ClassDef) -> ast.FunctionDef | None:
    return next((f for f in cls.body if isinstance(f, ast.FunctionDef) and f.name == "__init__"), None)


def calls_its_parents(init: ast.FunctionDef) -> bool:
    calls = [node.func for node in ast.walk(init) if isinstance(node, ast.Call)]
    return any(
        isinstance(f, ast.Attribute)
        and f.attr == "__init__"
        and isinstance(f.value, ast.Call)
        and isinstance(f.value.func, ast.Name)
        and f.value.func.id == "super"
        for f in calls
    )


def skipped_constructors(root: Path) -> Iterator[str]:
    """Classes whose own `__init__` does not call that of their parent."""
    for module in modules(root):
        if module.parts[0] != "bench":
            continue
        for cls in ast.walk(tree(root, module)):
            if not isinstance(cls, ast.ClassDef):
                continue
            parents = {ast.unparse(base).partition("[")[0].rpartition(".")[2] for base in cls.bases}
            init = constructor(cls)
            if parents - {"ABC", "Generic", "Protocol"} and init is not None and not calls_its_parents(init):
                yield f"{module}:{cls.lineno}: {cls.name}"


RULES: tuple[Rule, ...] = (crowded_folders, long_modules, parsed_words, skipped_constructors)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_house_is_in_order(rule: Rule) -> None:
    assert list(rule(ROOT)) == []


CLASSES = "class Meter:\n    def __init__(self, rate):\n        self.rate = rate\n\n\nclass Level(Meter):\n"


@pytest.mark.parametrize(
    ("rule", "files", "told"),
    [
        (crowded_folders, {f"bench/tape/m{n}.py": "" for n in range(21)}, "bench/tape: 21 modules"),
        (long_modules, {"bench/a.py": "x = 1\n" * 401}, "bench/a.py: 401 lines"),
        (parsed_words, {"bench/a.py": 'def f(e):\n    return e.text.partition(": ")[2]\n'}, "bench/a.py:2"),
        (parsed_words, {"bench/a.py": "def f(r):\n    return re.search('found by', r.method)\n"}, "bench/a.py:2"),
        (parsed_words, {"bench/a.py": "def f(r):\n    return PATTERN.fullmatch(r.reading.method)\n"}, "bench/a.py:2"),
        (parsed_words, {"bench/a.py": "def f(r):\n    return 'mean' in r.method\n"}, "bench/a.py:2"),
        (
            skipped_constructors,
            {"bench/a.py": CLASSES + "    def __init__(self):\n        self.sum = 0\n"},
            "bench/a.py:6: Level",
        ),
        (
            skipped_constructors,
            {"bench/a.py": CLASSES + "    def __init__(self):\n        Meter.__init__(self, 8000)\n"},
            "bench/a.py:6: Level",
        ),
    ],
)
def test_what_is_out_of_order_is_seen(tmp_path: Path, rule: Rule, files: dict[str, str], told: str) -> None:
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert list(rule(tmp_path)) == [told]


@pytest.mark.parametrize(
    "text",
    [
        CLASSES + "    def __init__(self):\n        super().__init__(8000)\n",
        CLASSES + "    sum = 0\n",
        "class Meter(Protocol):\n    def __init__(self):\n        self.x = 0\n",
        "def f(line):\n    return line.text.upper(), line.partition(':')\n",
    ],
)
def test_what_is_in_order_is_let_be(tmp_path: Path, text: str) -> None:
    (tmp_path / "bench").mkdir()
    (tmp_path / "bench" / "a.py").write_text(text, encoding="utf-8")
    assert [problem for rule in RULES for problem in rule(tmp_path)] == []
