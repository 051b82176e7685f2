"""The product's own source, parsed once."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOTS = ("labmatrix", "specimens", "conditioning", "results")
PLAIN_FOLDERS = ("domain", "kernel", "reading")
Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def product_files() -> tuple[Path, ...]:
    """Every module of the product, migrations left out."""
    found = (path for root in ROOTS for path in sorted((ROOT / root).rglob("*.py")))
    return tuple(path for path in found if "migrations" not in path.parts)


@cache
def tree(path: Path) -> ast.Module:
    """A module's syntax tree."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def name(path: Path) -> str:
    """A path as people say it."""
    return str(path.relative_to(ROOT))


def functions(path: Path) -> Iterator[Function]:
    """Every function of a module, nested ones too."""
    for node in ast.walk(tree(path)):
        if isinstance(node, Function):
            yield node


def is_plain(path: Path) -> bool:
    """Whether a module is plain computation."""
    return bool(set(PLAIN_FOLDERS) & set(path.relative_to(ROOT).parts))


def late_own_imports(module: ast.Module) -> Iterator[tuple[int, str]]:
    """Imports of our own modules inside a function: (line, module)."""
    for outer in ast.walk(module):
        if not isinstance(outer, Function | ast.Lambda):
            continue
        for node in ast.walk(outer):
            if isinstance(node, ast.ImportFrom):
                imported = [node.module or ""] if node.level == 0 else [f"{ROOTS[0]}."]
            elif isinstance(node, ast.Import):
                imported = [alias.name for alias in node.names]
            else:
                continue
            for module_name in imported:
                if module_name.split(".")[0] in ROOTS:
                    yield node.lineno, module_name


def undocumented(module: ast.Module) -> Iterator[str]:
    """Public things of a module without a docstring."""
    if not ast.get_docstring(module):
        yield "the module"
    yield from _undocumented_in(module, "")


def _undocumented_in(parent: ast.Module | ast.ClassDef, prefix: str) -> Iterator[str]:
    for node in parent.body:
        if not isinstance(node, Function | ast.ClassDef) or node.name.startswith("_"):
            continue
        if not ast.get_docstring(node):
            yield f"{prefix}{node.name}"
        if isinstance(node, ast.ClassDef):
            yield from _undocumented_in(node, f"{node.name}.")
