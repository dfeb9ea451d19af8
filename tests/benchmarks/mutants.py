"""How many small faults, put into the program at random, the tests find.

    python -m tests.benchmarks.mutants [COUNT] [--seed N] [--only PART] [--in PATH] [--known FILE]
        [--tests PATH]

Works on a copy of the tracked files and what is compiled. First every test and every docstring's example
runs once and is watched: which lines of the program it reaches and how long it takes (``--known FILE``
keeps that between runs; ``--tests`` runs some tests only). Then, one after the other, COUNT random faults
are made, in the modules and packages that are named, and the tests that reach the changed line run,
quickest first, until one fails. Prints each survivor as a diff, and at the end the share that was killed.
Goal: 85 %.

Faults: a comparison or an arithmetic operator swapped, a whole number one more or less, another
number doubled, True and False, `and` and `or`, a condition negated, a `not` dropped, a slice that
starts one later. Annotations, decorators, texts, and ``strict=`` are left alone; so are numbers under
a millionth, which only keep a division from zero.

A fault is taken for a survivor when the tests that reach its line pass; only those that add up to
``--seconds`` run, each file's own tests first. A line that runs on import, or in a
function that keeps what it returns (`functools.cache`), is reached by all tests of a file of which any
reaches the module: most only look at what the line made. One that runs where a fixture is set up for
several tests is reached by all that use it. What only a second process reaches isn't seen to be
reached; so the tests of what scores say read them in this one. A run that takes too long counts as
killed. Needs `coverage`.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import json
import multiprocessing
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any, NamedTuple

import pytest

PARTS = ("song", "grid", "reduce", "sheet", "machine", "report", "conversion")
LEFT_OUT = ("tests/browser", "tests/songbook", "tests/test_house.py", "tests/test_documents.py")
"""Tests that start processes or take long, and so tell little a second."""

SWAPS: dict[type[ast.AST], tuple[str, str]] = {
    ast.Lt: ("<", "<="), ast.LtE: ("<=", "<"), ast.Gt: (">", ">="), ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="), ast.NotEq: ("!=", "=="), ast.Is: ("is", "is not"),
    ast.IsNot: ("is not", "is"), ast.In: ("in", "not in"), ast.NotIn: ("not in", "in"),
    ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "/"), ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "*"), ast.Mod: ("%", "//"), ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"), ast.LShift: ("<<", ">>"), ast.RShift: (">>", "<<"),
}  # fmt: skip


class Mutant(NamedTuple):
    """One change: in a file, from byte to byte, a new text."""

    file: str
    line: int
    statement: int
    """The line on which its statement begins; what runs of lines further down isn't always seen."""
    start: int
    end: int
    text: bytes
    at_import: bool
    """Whether the line runs when the module is imported, or once for all who come after."""


class _Finder(ast.NodeVisitor):
    """Lists the mutants of one file."""

    def __init__(self, file: str, source: bytes) -> None:
        self.file, self.source, self.found = file, source, list[Mutant]()
        self._starts = [0]
        for line in source.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))
        self._depth = self._statement = 0
        self.visit(ast.parse(source))

    def _place(self, node: ast.expr) -> tuple[int, int]:
        start = self._starts[node.lineno - 1] + node.col_offset
        return start, self._starts[(node.end_lineno or 1) - 1] + (node.end_col_offset or 0)

    def _add(self, node: ast.expr, start: int, end: int, text: bytes) -> None:
        lines = node.lineno, self._statement
        self.found.append(Mutant(self.file, *lines, start, end, text, self._depth == 0))

    def visit(self, node: ast.AST) -> None:
        if isinstance(node, ast.stmt):
            self._statement = node.lineno
        super().visit(node)

    def _swap(self, left: ast.expr, right: ast.expr, old: str, new: str) -> None:
        low, high = self._place(left)[1], self._place(right)[0]
        at = self.source.find(old.encode(), low, high)
        if at >= 0:
            self._add(left, at, at + len(old), new.encode())

    def _negate(self, test: ast.expr) -> None:
        start, end = self._place(test)
        self._add(test, start, end, b"(not (" + self.source[start:end] + b"))")

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for default in (*node.args.defaults, *filter(None, node.args.kw_defaults)):
            self.visit(default)  # which runs where the function is made
        decorators = (ast.unparse(each).partition("(")[0] for each in node.decorator_list)
        inside = not any(name.endswith("cache") for name in decorators)
        self._depth += inside
        for each in node.body:
            self.visit(each)
        self._depth -= inside

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for each in node.body:
            self.visit(each)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg != "strict":
            self.visit(node.value)

    def visit_If(self, node: ast.If) -> None:
        if isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            return
        self._negate(node.test)
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self._negate(node.test)
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not):
            self._add(node, *self._place(node)[:1], self._place(node.operand)[0], b"")
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        for left, op, right in zip(
            [node.left, *node.comparators], node.ops, node.comparators, strict=False
        ):
            self._swap(left, right, *SWAPS[type(op)])
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in SWAPS and not isinstance(node.left, ast.JoinedStr):
            self._swap(node.left, node.right, *SWAPS[type(node.op)])
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        swap = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
        self._swap(*node.values[:2], *swap)
        self.generic_visit(node)

    def visit_Slice(self, node: ast.Slice) -> None:
        if node.lower is not None and not isinstance(node.lower, ast.Constant):
            end = self._place(node.lower)[1]
            self._add(node.lower, end, end, b" + 1")
        self.generic_visit(node)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        return  # what stands inside has no place of its own before Python 3.12

    def visit_Constant(self, node: ast.Constant) -> None:
        start, end = self._place(node)
        if isinstance(node.value, bool):
            self._add(node, start, end, str(not node.value).encode())
        elif isinstance(node.value, int):
            self._add(node, start, end, str(node.value + 1).encode())
            self._add(node, start, end, f"({node.value - 1})".encode())
        elif isinstance(node.value, float) and node.value >= 1e-6:
            self._add(node, start, end, repr(node.value * 2).encode())


def mutants(root: Path, parts: list[str]) -> list[Mutant]:
    """Return all mutants of some packages or modules, in order of file and place."""
    found: list[Mutant] = []
    for part in parts:
        top = root / "arranger" / part
        for path in sorted(top.rglob("*.py")) if top.is_dir() else [top]:
            found += _Finder(path.relative_to(root).as_posix(), path.read_bytes()).found
    return found


class Known(NamedTuple):
    """What is known of the tests."""

    seconds: dict[str, float]
    """For each test that passes how long it takes."""
    reach: dict[str, dict[int, list[str]]]
    """For each file and line the tests that run it."""


READ_HERE = (
    "tests/song/test_scores.py",
    "tests/song/test_played_scores.py",
    "tests/song/test_reader.py",
    "tests/published/",
)


class _Scores:
    """Has the tests of what scores say read them in this process."""

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Any:
        from arranger.song.score import process as score_process

        apart = score_process.read_apart
        if item.nodeid.startswith(READ_HERE):
            score_process.read_apart = _read_here
        yield
        score_process.read_apart = apart


def _read_here(data: bytes, file: str, sha256: str, settings: Any) -> Any:
    from arranger.song.score.reading import read_score
    from arranger.song.sniff import score_of

    return read_score(score_of(data, settings.max_bytes), file, sha256, settings)


class _Watch:
    """Has coverage name each test, or the fixture that several share, and takes its time."""

    def __init__(self, cov: Any) -> None:
        self.cov, self.seconds, self.failed = cov, dict[str, float](), set[str]()
        self.now = ""
        self.users = defaultdict[str, set[str]](set)
        """For each shared fixture the tests that use it."""

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        self.now = item.nodeid
        self.cov.switch_context(self.now)
        start = time.perf_counter()
        yield
        self.seconds[item.nodeid] = time.perf_counter() - start
        self.cov.switch_context("")

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Any:
        if fixturedef.scope != "function":
            self.cov.switch_context(_shared(fixturedef))
        yield
        self.cov.switch_context(self.now)

    def pytest_runtest_setup(self, item: Any) -> None:
        for name in item.fixturenames:
            for each in item._fixtureinfo.name2fixturedefs.get(name, ()):
                self.users[_shared(each)].add(item.nodeid)

    def tests(self, contexts: list[str]) -> list[str]:
        """Return the tests that ran a line, by themselves or through what they share."""
        found = {test for name in contexts for test in self.users.get(name, (name,))}
        return sorted(found - self.failed - {""})

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed or report.skipped:
            self.failed.add(report.nodeid)


def _shared(fixture: Any) -> str:
    return f"fixture {fixture.baseid}::{fixture.argname}"


class _Pick:
    """Runs the tests that are named, in their order."""

    def __init__(self, names: list[str]) -> None:
        self.order = {name: place for place, name in enumerate(names)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.order),
            key=lambda item: self.order[item.nodeid],
        )


def _pytest(arguments: list[str], plugin: object) -> int:
    from hypothesis import Phase, settings

    # no shrinking: that a test fails is all that is asked
    phases = (Phase.explicit, Phase.generate)
    settings.register_profile("mutants", deadline=None, database=None, phases=phases)
    usual = ["-q", "-n", "0", "-p", "no:cacheprovider", "--hypothesis-seed", "0"]
    usual += ["--hypothesis-profile", "mutants", "-W", "default", "--no-header", "--no-summary"]
    return int(pytest.main([*usual, *arguments], plugins=[plugin, _Scores()]))


def _watched(root: Path, file: Path, tests: list[str]) -> None:
    import coverage

    cov = coverage.Coverage(data_file=None, source=[str(root / "arranger")])
    watch = _Watch(cov)
    cov.start()
    code = _pytest([*tests, *(f"--ignore={path}" for path in LEFT_OUT)], watch)
    cov.stop()
    if code > 1:
        sys.exit(f"the tests can't run: pytest's exit code is {code}")
    data = cov.get_data()
    reach: dict[str, dict[int, list[str]]] = {}
    for path in data.measured_files():
        lines = {line: watch.tests(names) for line, names in data.contexts_by_lineno(path).items()}
        reach[Path(path).relative_to(root).as_posix()] = lines
    seconds = {name: took for name, took in watch.seconds.items() if name not in watch.failed}
    file.write_text(json.dumps({"seconds": seconds, "reach": reach}), "utf-8")


def _attacked(names: list[str]) -> None:
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)
    files = sorted({name.partition("::")[0] for name in names})
    os._exit(_pytest(["-x", "--timeout", "60", *files], _Pick(names)))


def _forked(target: Any, arguments: tuple[Any, ...], limit: float | None) -> int | None:
    """Run a function in a process forked from this one; None when it took too long."""
    process = multiprocessing.get_context("fork").Process(target=target, args=arguments)
    process.start()
    process.join(limit)
    if process.is_alive() and process.pid is not None:
        os.kill(process.pid, signal.SIGKILL)
        process.join()
        return None
    return process.exitcode


def tests_of(mutant: Mutant, known: Known, budget: float) -> list[str]:
    """Return the tests that reach a mutant, quickest first, those of its package before others."""
    lines = known.reach.get(mutant.file, {})
    of_line = lines.get(mutant.line) or lines.get(mutant.statement, [])
    seen = set(of_line)
    if mutant.at_import:
        files = {name.partition("::")[0] for names in lines.values() for name in names}
        of_line = [name for name in known.seconds if name.partition("::")[0] in files]
    package = f"tests/{mutant.file.split('/')[1]}/"

    def place(name: str) -> tuple[bool, bool, float, str]:
        at_import = mutant.at_import and name not in seen
        return at_import, not name.startswith(package), known.seconds.get(name, 0.0), name

    chosen: list[str] = []
    total = 0.0
    for name in sorted(seen.union(of_line), key=place):
        if name not in known.seconds:
            continue
        total += known.seconds[name]
        if total > budget:
            break
        chosen.append(name)
    return sorted(chosen, key=lambda name: known.seconds[name])


def attack(root: Path, mutant: Mutant, known: Known, budget: float) -> str:
    """Return what became of a mutant: "killed", "too long", "survived" or "not reached"."""
    names = tests_of(mutant, known, budget)
    if not names:
        return "not reached"
    path = root / mutant.file
    source = path.read_bytes()
    path.write_bytes(source[: mutant.start] + mutant.text + source[mutant.end :])
    try:
        code = _forked(_attacked, (names,), 60 + 6 * budget)
    finally:
        path.write_bytes(source)
    return "too long" if code is None else "survived" if code == 0 else "killed"


def difference(root: Path, mutant: Mutant) -> str:
    """Return a mutant as a diff of the changed lines."""
    source = (root / mutant.file).read_bytes()
    after = source[: mutant.start] + mutant.text + source[mutant.end :]
    lines = [text.decode().splitlines() for text in (source, after)]
    told = difflib.unified_diff(*lines, mutant.file, mutant.file, lineterm="", n=1)
    return "\n".join(told)


def main() -> None:
    """Make the faults and print what became of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", type=int, nargs="?", default=500)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--first", type=int, default=0, help="go on after so many of the seed")
    parser.add_argument("--only", action="append", choices=PARTS)
    parser.add_argument(
        "--in", action="append", dest="modules", help="such as reduce/choose/turns.py"
    )
    parser.add_argument("--tests", action="append", help="such as tests/reduce")
    parser.add_argument("--known", type=Path, help="keeps what the tests reach")
    parser.add_argument("--seconds", type=float, default=30.0, help="of tests a fault at most")
    asked = parser.parse_args()
    os.environ |= {
        "OMP_NUM_THREADS": "1",
        "COVERAGE_CORE": "ctrace",
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    here = Path.cwd()
    known_file = asked.known and asked.known.resolve()
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder).resolve()
        tracked = subprocess.run(["git", "ls-files", "-z"], capture_output=True, check=True).stdout
        built = [path.as_posix() for path in Path("arranger").rglob("*.so")]
        for name in filter(None, [*tracked.decode().split("\0"), *built]):
            if (here / name).is_file():
                (root / name).parent.mkdir(parents=True, exist_ok=True)
                (root / name).write_bytes((here / name).read_bytes())
        os.chdir(root)
        os.environ["PYTHONPATH"] = str(root)
        sys.path.insert(0, str(root))
        known_file = known_file or root / "known.json"
        watched = (root, known_file, asked.tests or ["tests", "arranger"])
        if not known_file.exists() and _forked(_watched, watched, None) != 0:
            return
        found = json.loads(known_file.read_text("utf-8"))
        reach: dict[str, dict[int, list[str]]] = {
            file: defaultdict(list, {int(line): names for line, names in lines.items()})
            for file, lines in found["reach"].items()
        }
        known = Known(found["seconds"], reach)
        _load_libraries()
        everything = mutants(root, asked.modules or asked.only or list(PARTS))
        random.Random(asked.seed).shuffle(everything)
        counts: Counter[str] = Counter()
        for mutant in everything[asked.first : asked.first + asked.count]:
            fate = attack(root, mutant, known, asked.seconds)
            counts[fate] += 1
            if fate not in {"killed", "too long"}:
                print(f"{fate}:\n{difference(root, mutant)}\n", flush=True)
        killed, total = counts["killed"] + counts["too long"], counts.total()
        print(f"{killed} of {total} killed ({killed / max(total, 1):.0%}; all: {len(everything)})")
        print(", ".join(f"{number} {fate}" for fate, number in counts.items()))
        os.chdir(here)


def _load_libraries() -> None:
    """Import what tests import and no mutant changes, so that each fork has it."""
    import hypothesis.strategies
    import jsonschema
    import mido
    import music21
    import pretty_midi
    import pydantic
    import rich.table
    import scipy.signal
    import soundfile
    import typer.testing

    del hypothesis, jsonschema, mido, music21, pretty_midi, pydantic
    del rich, scipy, soundfile, typer


if __name__ == "__main__":
    main()
