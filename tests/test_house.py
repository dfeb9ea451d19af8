"""The house: every package says what is in it, and imports go one way."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections import Counter
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = sorted(path.parent for path in (ROOT / "arranger").rglob("__init__.py"))


@pytest.mark.parametrize("package", PACKAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_a_package_names_all_that_is_in_it(package: Path) -> None:
    text = ast.get_docstring(ast.parse((package / "__init__.py").read_text("utf-8"))) or ""
    if package.name == "arranger":
        text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    words = set(re.findall(r"\w+", text))
    modules = {path.stem for path in package.glob("*.py")} - {"__init__", "__main__"}
    folders = {path.parent.name for path in package.glob("*/__init__.py")}
    assert modules | folders <= words


def test_no_module_is_too_long_to_read() -> None:
    lengths = {
        path.name: len(path.read_text("utf-8").splitlines())
        for path in (ROOT / "arranger").rglob("*.py")
    }
    assert {name for name, length in lengths.items() if length > 450} == set()


def test_imports_go_one_way() -> None:
    linted = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert linted.returncode == 0, linted.stdout


def test_no_import_leads_round() -> None:
    """Not even one that only type checkers read. Packages, which hand names on, don't count."""
    modules = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts): path
        for path in (ROOT / "arranger").rglob("*.py")
        if path.stem != "__init__"
    }
    needs = {
        name: {
            whole
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.ImportFrom)
            for whole in (node.module, *(f"{node.module}.{each.name}" for each in node.names))
            if whole in modules
        }
        for name, path in modules.items()
    }
    TopologicalSorter(needs).prepare()


SHARED = {
    *("compare", "convert", "export", "redo", "render", "survey", "undo"),  # a command and its work
    "main",  # of each process
}
"""Names of public functions that two modules may have; all others mean one thing."""


def test_a_name_means_one_thing() -> None:
    names = Counter(
        node.name
        for path in (ROOT / "arranger").rglob("*.py")
        for node in ast.parse(path.read_text("utf-8")).body
        if isinstance(node, ast.ClassDef | ast.FunctionDef) and not node.name.startswith("_")
    )
    assert {name for name, count in names.items() if count > 1} <= SHARED
