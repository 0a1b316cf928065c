"""The project's own Python files and what they import, for the tests that hold rules about source code."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SHIPPED_FOLDERS = ("plugin", "processing_algs", "sample_project")


@dataclass(frozen=True)
class Import:
    """One imported module. `target` is a path of the project ("plugin/network/build") if `inside`, else a dotted name.

    `at_load`: importing the file runs it (it stands in no function). `for_types`: never run, under TYPE_CHECKING.
    """

    line: int
    target: str
    inside: bool
    at_load: bool
    for_types: bool

    @property
    def top(self) -> str:
        return self.target.split(".")[0]


def shipped_files() -> list[Path]:
    """Every Python file users get, as paths relative to the checkout."""
    found = [path for folder in SHIPPED_FOLDERS for path in (ROOT / folder).rglob("*.py")]
    return sorted(path.relative_to(ROOT) for path in [ROOT / "__init__.py", *found])


def all_files() -> list[Path]:
    """The shipped files and those of the tests."""
    return shipped_files() + sorted(path.relative_to(ROOT) for path in (ROOT / "tests").rglob("*.py"))


def text_of(path: Path) -> str:
    return (ROOT / path).read_text(encoding="utf-8")


@cache
def tree_of(path: Path) -> ast.Module:
    """The parsed file; a SyntaxError where it needs more than Python 3.9."""
    return ast.parse(text_of(path), str(path), feature_version=(3, 9))


@cache
def imports_of(path: Path) -> tuple[Import, ...]:
    """Every import of the file, those inside functions too."""
    return tuple(_imports(path, tree_of(path).body, at_load=True, for_types=False))


def _imports(path: Path, body: list[ast.AST], at_load: bool, for_types: bool) -> Iterator[Import]:
    for node in body:
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            inside = isinstance(node, ast.ImportFrom) and node.level > 0
            targets = _inside_targets(path, node) if inside else _outside_targets(node)
            yield from (Import(node.lineno, target, inside, at_load and not for_types, for_types) for target in targets)
        else:
            deferred = isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda))
            typed = for_types or (isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test))
            yield from _imports(path, list(ast.iter_child_nodes(node)), at_load and not deferred, typed)


def _outside_targets(node: ast.Import | ast.ImportFrom) -> list[str]:
    return [node.module] if isinstance(node, ast.ImportFrom) else [name.name for name in node.names]


def _inside_targets(path: Path, node: ast.ImportFrom) -> list[str]:
    folder = path.parents[node.level - 1]
    base = folder.joinpath(*node.module.split(".")) if node.module else folder
    # `from . import units` names a module, `from .units import US` does not
    below = [base / name.name for name in node.names]
    return [target.as_posix() for target in [base, *below] if module_file(target.as_posix())]


def module_file(target: str) -> Path | None:
    """The file of a module given as a path of the project without ending, or None."""
    for candidate in (Path(target + ".py"), Path(target) / "__init__.py"):
        if (ROOT / candidate).exists():
            return candidate
    return None


def loaded_with(path: Path) -> dict[Path, tuple[Path, ...]]:
    """Every file of the project that importing `path` loads, with the chain of imports that leads to it."""
    chains = {path: (path,)}
    waiting = [path]
    while waiting:
        current = waiting.pop()
        packages = [parent / "__init__.py" for parent in current.parents if (ROOT / parent / "__init__.py").exists()]
        named = [module_file(entry.target) for entry in imports_of(current) if entry.inside and entry.at_load]
        for reached in packages + named:
            if reached not in chains:
                chains[reached] = (*chains[current], reached)
                waiting.append(reached)
    return chains
