"""Rules of the source that no linter knows."""

from __future__ import annotations

import ast
import configparser
import re

import pytest

from tests.architecture.source import (
    ROOT,
    ROOTS,
    functions,
    is_plain,
    late_own_imports,
    name,
    product_files,
    tree,
    undocumented,
)

FILE_LINES_MAX = 350
FUNCTION_LINES_MAX = 60
# One loop over samples, compiled as it stands: cut into calls it would be slower, not clearer.
COMPILED_LOOP = re.compile(r"\w+_kernel|parse_lines")
COMPILED_LINES_MAX = 100
NAMELESS = {"utils", "util", "helpers", "helper", "common", "misc"}
MIGRATION_NAME = re.compile(r"\d{4}_(?!auto_)[a-z0-9_]+\.py")


def test_own_modules_are_never_imported_late():
    assert [
        f"{name(path)}:{line} imports {imported}"
        for path in product_files()
        if path.name != "apps.py"
        for line, imported in late_own_imports(tree(path))
    ] == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("def f():\n    from labmatrix.kernel import units", [(2, "labmatrix.kernel")]),
        ("def f():\n    import results.domain", [(2, "results.domain")]),
        ("class C:\n    def f(self):\n        from . import x", [(3, "labmatrix.")]),
        ("def f():\n    import scipy.stats", []),
        ("from labmatrix.kernel import units", []),
    ],
)
def test_the_search_for_late_imports_finds_them(source, found):
    assert list(late_own_imports(ast.parse(source))) == found


def test_every_module_has_a_name_of_its_own():
    assert [name(p) for p in product_files() if NAMELESS & {p.stem, *p.parent.parts}] == []


def test_files_stay_short():
    lines = {name(p): p.read_text(encoding="utf-8").count("\n") for p in product_files()}
    assert {path: n for path, n in lines.items() if n > FILE_LINES_MAX} == {}


def test_functions_stay_short():
    assert [
        f"{name(path)}:{node.lineno} {node.name} has {length} lines"
        for path in product_files()
        for node in functions(path)
        if (length := (node.end_lineno or node.lineno) - node.lineno + 1)
        > (COMPILED_LINES_MAX if COMPILED_LOOP.fullmatch(node.name) else FUNCTION_LINES_MAX)
    ] == []


def test_plain_computation_says_what_it_computes():
    assert [
        f"{name(path)}: {missing}"
        for path in product_files()
        if is_plain(path) and path.read_text(encoding="utf-8").strip()
        for missing in undocumented(tree(path))
    ] == []


def test_the_import_contract_knows_every_folder_of_plain_computation():
    contracts = configparser.ConfigParser()
    contracts.read(ROOT / ".importlinter")
    named = [
        module
        for section in ("plain", "plain-web")
        for module in contracts[f"importlinter:contract:{section}"]["source_modules"].split()
    ]
    folders = {
        ".".join(folder.relative_to(ROOT).parts)
        for root in ROOTS
        for part in ("domain", "kernel", "reading")
        for folder in (ROOT / root).rglob(part)
        if folder.is_dir() and list(folder.glob("*.py"))
    }
    inner = {f for f in folders if any(f.startswith(f"{other}.") for other in folders)}
    assert folders - inner - set(named) == set()


def test_migrations_have_written_names():
    written = [
        path
        for root in ROOTS
        for path in (ROOT / root).rglob("migrations/[0-9]*.py")
        if not MIGRATION_NAME.fullmatch(path.name)
    ]
    assert written == []
