"""What the program itself puts into the outputs of a songbook, as digests.

What can change an output is found from what is imported, from the modules on in which a song's way
begins: one that they don't reach may change as it likes, and so may comments, docstrings, and how code
is laid out. A package only hands names on, so what else it imports doesn't count. Data counts where a
module that is reached names its file, and so does a module that it names: one that is compiled, which
counts by its source in C, or one that runs in a process of its own.
"""

from __future__ import annotations

import ast
import functools
import gc
import hashlib
import re
import tomllib
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.load import builtin_engines, builtin_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

PACKAGE = Path(__file__).parents[2]

CONVERTING = (
    "arranger.song.reader",
    "arranger.engine.load",
    "arranger.conversion.pipeline",
    "arranger.conversion.by_hand",
    "arranger.sheet.keep",
)
"""Where the making of a sheet begins."""

SOUNDING = ("arranger.sound.audio_files",)
"""Where the making of a sound file begins."""

WORKING = ("arranger.songbook.working.work",)
"""Where all of it begins."""

_CODE = (".py", ".c")
_COMPILED = frozenset({".pyc", ".so", ".pyd"})
_COMMENTS = {
    ".c": re.compile(r"/\*.*?\*/|//[^\n]*", re.DOTALL),
    ".h": re.compile(r"/\*.*?\*/|//[^\n]*", re.DOTALL),
    ".js": re.compile(r"^\s*//[^\n]*\n", re.MULTILINE),
}


_SAYS_NOTHING = frozenset({"ctx", "kind", "type_comment", "type_ignores"})
"""Fields of syntax trees that follow from others, or are comments."""


class Program(NamedTuple):
    """Digests of the program, as far as it can change what comes out."""

    raw: str
    """Of every byte, which tells quickly that nothing at all has changed."""
    converts: str
    """Of what makes sheets of songs."""
    writes: str
    """Of that, and what writes ledgers and pages."""
    sounds: str
    """Of what renders sound."""


def program(noted: Program | None = None, package: Path = PACKAGE) -> Program:
    """Return the digests of the program.

    ``noted``: what was found before: returned if the program is still the same, as this takes a
    second.
    ``package``: where the program lies; by default where it runs.
    """
    raw = _raw_digest(package)
    return noted if noted is not None and noted.raw == raw else _found(raw, package)


@functools.lru_cache(maxsize=4)
def _found(raw: str, package: Path) -> Program:
    """Return the digests of the program with a raw digest, found once a process."""
    with _without_garbage():
        sources = _Sources(package)
        converts = sources.reached(CONVERTING)
        sounds = sources.reached(SOUNDING)
        writes = sources.reached(WORKING, without=SOUNDING)
        return Program(raw, *(sources.digest(names) for names in (converts, writes, sounds)))


def reached(modules: Iterable[str], package: Path = PACKAGE) -> frozenset[str]:
    """Return the files that some modules lead to, as paths below the package."""
    return _Sources(package).reached(modules)


def engine_digest(engine: str, content: bytes | None = None) -> str:
    """Return a digest of what an engine's file says, or will with some content; "" if unreadable."""
    try:
        if content is not None:
            text = content.decode("utf-8")
        else:
            text = builtin_text(engine) if engine in builtin_engines() else Path(engine).read_text()
        said = repr(tomllib.loads(text))
    except (OSError, ValueError):
        return ""
    return hashlib.sha256(said.encode("utf-8", "surrogatepass")).hexdigest()


def _raw_digest(package: Path) -> str:
    found = hashlib.sha256()
    for path in sorted(package.rglob("*")):
        if path.is_file() and path.suffix not in _COMPILED:
            found.update(f"{path.relative_to(package).as_posix()}\0".encode())
            found.update(hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()


class _Source(NamedTuple):
    """One file."""

    digest: bytes
    """Of what in it can change an output."""
    needs: frozenset[str]
    """Files that it may use, as paths below the package."""


class _Sources:
    """The files of the program by path below the package, read when they are asked for."""

    def __init__(self, package: Path) -> None:
        self._package = package
        self._code_files: set[str] = set()
        self._data: dict[str, list[str]] = {}
        for path in package.rglob("*"):
            if path.suffix in _CODE:
                self._code_files.add(self._name(path))
            # The engine that is asked for counts by itself.
            elif path.suffix not in _COMPILED and path.is_file() and path.parent.name != "builtin":
                self._data.setdefault(path.name, []).append(self._name(path))
        self._read: dict[str, _Source] = {}
        self._packages: dict[str, dict[str, str]] = {}

    def reached(self, modules: Iterable[str], without: Iterable[str] = ()) -> frozenset[str]:
        """Return all files that some modules lead to, without going by way of some others."""
        found = {name for module in without for name in self._module(module)}
        shut = frozenset(found)
        ahead = [name for module in modules for name in self._module(module)]
        while ahead:
            name = ahead.pop()
            if name not in found:
                found.add(name)
                ahead += self._source(name).needs
        return frozenset(found) - shut

    def digest(self, names: Iterable[str]) -> str:
        """Return one digest of some files."""
        whole = hashlib.sha256()
        for name in sorted(names):
            whole.update(f"{name}\0".encode() + self._source(name).digest)
        return whole.hexdigest()

    def _name(self, path: Path) -> str:
        return path.relative_to(self._package).as_posix()

    def _source(self, name: str) -> _Source:
        if name not in self._read:
            path = self._package / name
            content = path.read_bytes()
            self._read[name] = (
                self._code(content) if path.suffix == ".py" else self._other(path, content)
            )
        return self._read[name]

    def _code(self, content: bytes) -> _Source:
        found = _Bare()
        found.look(ast.parse(content))
        needs = {path for text in found.texts for path in self._data.get(text, ())}
        names = (text for text in found.texts if text.replace(".", "_").isidentifier())
        files = (path for name in names for path in self._module(name))
        needs.update(path for path in files if not path.endswith("__init__.py"))
        needs.update(path for name in found.modules for path in self._module(name))
        needs.update(path for each in found.names for path in self._named(*each))
        digest = hashlib.sha256("\0".join(found.words).encode("utf-8", "surrogatepass")).digest()
        return _Source(digest, frozenset(needs))

    def _other(self, path: Path, content: bytes) -> _Source:
        needs: set[str] = set()
        comments = _COMMENTS.get(path.suffix)
        if comments is not None:
            content = comments.sub("", content.decode("utf-8", "replace")).encode()
        elif path.suffix == ".toml":
            content = repr(tomllib.loads(content.decode("utf-8"))).encode()
        elif path.suffix == ".html":
            for name in re.findall(r'"([\w.]+)"', content.decode("utf-8", "replace")):
                needs.update(self._data.get(name, ()))
        return _Source(hashlib.sha256(content).digest(), frozenset(needs))

    def _module(self, name: str) -> Iterator[str]:
        """Yield the file of a module of the program."""
        top, *parts = name.split(".")
        if top == self._package.name:
            place = "/".join(parts)
            files = (*(place + suffix for suffix in _CODE), "/".join((*parts, "__init__.py")))
            yield from (file for file in files if file in self._code_files)

    def _named(self, module: str, name: str) -> Iterator[str]:
        """Yield the files of a name that is imported from a module, or is one."""
        inner = tuple(self._module(f"{module}.{name}"))
        home = self._handed_on(module).get(name)
        if inner or home is None:
            yield from inner or self._module(module)
        else:
            yield from self._module(home)

    def _handed_on(self, module: str) -> dict[str, str]:
        """Return the modules of the names that a package has from others; nothing if it is none."""
        if module not in self._packages:
            path = self._package.joinpath(*module.split(".")[1:], "__init__.py")
            is_one = module.split(".")[0] == self._package.name and path.is_file()
            self._packages[module] = (
                _handed_on(module, ast.parse(path.read_bytes())) if is_one else {}
            )
        return self._packages[module]


def _handed_on(package: str, tree: ast.Module) -> dict[str, str]:
    names: dict[str, str] = {}
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.module:
            names |= {alias.asname or alias.name: node.module for alias in node.names}
        for call in ast.walk(node) if isinstance(node, ast.Assign) else ():
            if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "looked_up":
                homes: dict[str, str] = ast.literal_eval(call.args[1])
                names |= {name: f"{package}.{home}" for name, home in homes.items()}
    return names


class _Bare:
    """What is in a module that does something when it runs.

    Left out are docstrings, where things stand in the text, and what only type checkers read.
    """

    def __init__(self) -> None:
        self.words: list[str] = []
        """All of it, in order."""
        self.texts: set[str] = set()
        self.modules: set[str] = set()
        """Those imported as a whole."""
        self.names: set[tuple[str, str]] = set()
        """Those imported from modules: module and name."""

    def look(self, node: object) -> None:
        """Take in a part of a syntax tree."""
        if isinstance(node, list):
            self.words.append("[")
            for part in node:
                self.look(part)
            self.words.append("]")
        elif not isinstance(node, ast.AST):
            self.words.append(repr(node))
            if isinstance(node, str):
                self.texts.add(node)
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            pass  # a text that stands by itself
        elif isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING":
            self.look(node.orelse)
        else:
            self._note_import(node)
            self.words.append(node.__class__.__name__)
            for name in node._fields:
                if name not in _SAYS_NOTHING:
                    self.look(getattr(node, name, None))

    def _note_import(self, node: ast.AST) -> None:
        if isinstance(node, ast.Import):
            self.modules.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            self.names.update((node.module, alias.name) for alias in node.names)


@contextmanager
def _without_garbage() -> Iterator[None]:
    """Look for no garbage meanwhile: trees are many objects, and none is any."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
