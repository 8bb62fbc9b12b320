"""The house in order: layers, sizes, names, docstrings, and nothing left half done."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "advisor"
LONGEST = 400
TOP = {"pyproject.toml", "README.md", "DEVELOPERS.md", "advisor", "rules", "tests", "openapi"}
TEXT = {".py", ".yaml", ".yml", ".md", ".toml", ".json"}
UNFINISHED = tuple(a + b for a, b in (("TO", "DO"), ("FIX", "ME"), ("XX", "X"), ("HA", "CK")))
SHAPELESS = {"utils", "util", "helpers", "helper", "common", "misc", "manager", "base"}

MODULES = sorted(PACKAGE.rglob("*.py"))
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}


def short(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def tracked() -> list[Path]:
    """Files of the repository, as git lists them."""
    found = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return [ROOT / name for name in found.stdout.split("\0") if name and (ROOT / name).is_file()]


def imports(root: Path) -> subprocess.CompletedProcess[str]:
    """The import contracts of pyproject.toml, checked on the package in ``root``."""
    code = (
        "import sys; sys.path.insert(0, '.'); from importlinter.cli import lint_imports; "
        "sys.exit(lint_imports(no_cache=True))"
    )
    return subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=False)


def test_imports_flow_one_way() -> None:
    ran = imports(ROOT)
    assert ran.returncode == 0, ran.stdout[-3000:] + ran.stderr[-1000:]
    assert "0 broken" in ran.stdout


@pytest.mark.parametrize(
    ("module", "line"),
    [("units.py", "from advisor.advice import advise"), ("facts/question.py", "import yaml"),
     ("advice/rank.py", "import litestar"), ("rules/plain.py", "import durable_rules_engine")],
)  # fmt: skip
def test_an_import_against_the_flow_is_caught(tmp_path: Path, module: str, line: str) -> None:
    for path in MODULES:
        copy = tmp_path / path.relative_to(ROOT)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(path.read_bytes())
    (tmp_path / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    spoiled = tmp_path / "advisor" / module
    spoiled.write_text(f"{spoiled.read_text(encoding='utf-8')}\n{line}\n", encoding="utf-8")
    ran = imports(tmp_path)
    assert ran.returncode != 0
    assert "BROKEN" in ran.stdout
    assert module.removesuffix(".py").replace("/", ".") in ran.stdout


def test_no_module_is_longer_than_four_hundred_lines() -> None:
    lengths = {short(p): len(p.read_text(encoding="utf-8").splitlines()) for p in MODULES}
    long = {name: n for name, n in lengths.items() if n > LONGEST}
    assert not long


def test_no_module_has_a_name_that_says_nothing() -> None:
    assert not [short(p) for p in MODULES if p.stem in SHAPELESS or p.parent.name in SHAPELESS]


def test_the_top_level_holds_what_is_agreed() -> None:
    names = {path.relative_to(ROOT).parts[0] for path in tracked()}
    strange = {name for name in names if not name.startswith(".")} - TOP
    assert not strange
    assert names >= {"pyproject.toml", "README.md", "advisor", "rules", "tests", "openapi"}


def definitions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]:
    """Public functions and classes of a module."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node


def test_every_public_function_and_class_has_a_docstring() -> None:
    bare = [
        f"{short(path)}:{node.lineno} {node.name}"
        for path, tree in TREES.items()
        for node in definitions(tree)
        if not ast.get_docstring(node)
    ]
    assert not bare, "\n".join(bare)


def test_every_module_says_what_it_is() -> None:
    assert not [short(path) for path, tree in TREES.items() if tree.body and not ast.get_docstring(tree)]


def exported(tree: ast.Module) -> list[str] | None:
    """The names in ``__all__``; None when there is none."""
    for node in tree.body:
        if isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets):
            return [str(name) for name in ast.literal_eval(node.value)]
    return None


def bound(tree: ast.Module) -> set[str]:
    """Names that the top level of a module binds."""
    out: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            out.add(node.name)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            out |= {(alias.asname or alias.name).partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            out.add(node.id)
    return out


def test_every_module_lists_what_it_offers() -> None:
    missing, unbound, twice = [], [], []
    for path, tree in TREES.items():
        names = exported(tree)
        if names is None:
            # A package that only says what it is offers nothing by itself.
            if path.name != "__init__.py" or len(tree.body) > 1:
                missing.append(short(path))
            continue
        there = bound(tree)
        unbound += [f"{short(path)}: {name}" for name in names if name not in there]
        twice += [f"{short(path)}: {name}" for name in set(names) if names.count(name) > 1]
        private = [f"{short(path)}: {name}" for name in names if name.startswith("_")]
        assert not private
    assert not missing, f"without __all__: {missing}"
    assert not unbound, f"listed but not there: {unbound}"
    assert not twice


def test_nothing_is_left_half_done() -> None:
    pattern = re.compile(rf"\b({'|'.join(UNFINISHED)})\b")
    found = []
    for path in tracked():
        if path.suffix not in TEXT:
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if pattern.search(line):
                found.append(f"{short(path)}:{number} {line.strip()[:80]}")
    assert not found, "\n".join(found)


def test_code_is_plain_ascii() -> None:
    assert not [short(path) for path in tracked() if path.suffix == ".py" and not path.read_bytes().isascii()]


def test_tests_have_names_of_their_own() -> None:
    """Test modules are found by their bare name, so two may not share one."""
    names = [path.name for path in tracked() if path.suffix == ".py" and path.name.startswith("test_")]
    assert not {name for name in names if names.count(name) > 1}


def test_no_test_is_skipped() -> None:
    words = tuple("pytest" + rest for rest in (".skip", ".mark.skip", ".mark.xfail", ".xfail"))
    found = [
        short(path) for path in tracked()
        if path.suffix == ".py" and path.is_relative_to(ROOT / "tests")
        if any(word in path.read_text(encoding="utf-8") for word in words)
    ]  # fmt: skip
    assert not found
