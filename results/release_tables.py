"""A release as its pages and files show it: every table and figure names its version."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from labmatrix.kernel.clock import parse_instant
from results.comparison_tables import (
    Table,
    cells_table,
    comparison_table,
    contribution_table,
    member_table,
    metric_said,
    modes_table,
    retention_notes,
)
from results.domain.comparison.groups import IS_CONTROL

NO_CURVE = "Specimens whose number is imported have no record, and no curve in the figures."
IMPORTED_COUNTED = "{count} of {n} specimens have an imported number of {metric}: {words}."


def imported_said(seen: Mapping[str, Any]) -> list[str]:
    """How many specimens of each released number have an imported one; none where none has."""
    told = []
    for result in seen["results"]:
        comparison = result["comparison"]
        groups = comparison["groups"]
        count = sum(group.get("imported", 0) for group in groups)
        if count:
            n = sum(group["n"] for group in groups)
            words = "number as reported, no raw record behind it"
            said = metric_said(comparison)
            told.append(IMPORTED_COUNTED.format(count=count, n=n, metric=said, words=words))
    return told


def version_said(seen: Mapping[str, Any]) -> str:
    """The version with its day: "Version 2, released 2026-06-01."."""
    return f"Version {seen['version']}, released {seen['released_at'][:10]}."


def _versioned(table: Table, words: str) -> Table:
    return {**table, "caption": f"{table['caption']} {words}"}


def release_tables(seen: Mapping[str, Any], *, with_levels: bool = True) -> dict[str, Table]:
    """All tables of a release by a short name.

    Args:
        seen: a release as a person may see it.
        with_levels: the comparison has a column for each factor; else the cells have their own.
    """
    words = version_said(seen)
    found: dict[str, Table] = {}
    if not with_levels:
        found["cells"] = cells_table(seen["results"][0]["comparison"])
    for place, result in enumerate(seen["results"], start=1):
        suffix = "" if place == 1 else f"-{place}"
        found[f"comparison{suffix}"] = comparison_table(
            result["comparison"], with_levels=with_levels
        )
        if result["retention"]["cells"]:
            found[f"member{suffix}"] = member_table(result["retention"])
            found[f"contribution{suffix}"] = contribution_table(result["retention"])
    if seen["failure_modes"]:
        found["modes"] = modes_table(seen["failure_modes"])
    return {name: _versioned(table, words) for name, table in found.items()}


def changes_table(seen: Mapping[str, Any]) -> Table:
    """What differs from the version before; numbers keep their unit beside them."""

    def said(value: Any, unit: str) -> str:
        if value is None:
            return "none"
        if isinstance(value, float | int):
            return f"{value:.5g} {unit}" if unit != "1" else f"{value:.5g}"
        return str(value) or "none"

    return {
        "caption": f"What version {seen['version']} changes of version {seen['version'] - 1}.",
        "columns": [
            {"label": "What", "kind": "text"},
            {"label": "Before", "kind": "text"},
            {"label": "Now", "kind": "text"},
        ],
        "rows": [
            [c["what"], said(c["before"], c["unit"]), said(c["after"], c["unit"])]
            for c in seen["changes"]
        ],
    }


def release_context(seen: Mapping[str, Any]) -> dict[str, Any]:
    """What the release's templates show."""
    words, tables = version_said(seen), release_tables(seen, with_levels=False)
    figures = [
        {
            "key": name,
            "number": place,
            "caption": f"{seen['figures'][name]['caption']} {words}",
            "payload": seen["figures"][name]["payload"],
            "table": seen["figures"][name]["table"],
        }
        for place, name in enumerate(
            (n for n in ("load-deflection", "stiffness") if n in seen["figures"]), start=1
        )
    ]
    return {
        "release": seen,
        "released_at": parse_instant(seen["released_at"], argument="released_at"),
        "version_said": words,
        "metrics_said": ", ".join(metric_said(r["comparison"]) for r in seen["results"]),
        "tables": [{"name": name, "table": table} for name, table in tables.items()],
        "notes": _notes(seen),
        "imported_said": imported_said(seen),
        "figures": figures,
        "changes": changes_table(seen) if seen["changes"] else None,
    }


def _notes(seen: Mapping[str, Any]) -> list[str]:
    """The sentences beside all the numbers, each once."""
    found: dict[str, list[str]] = {}
    for result in seen["results"]:
        for group in result["comparison"]["groups"]:
            cell, kind = group["cell"], group["control"]["kind"]
            is_control = IS_CONTROL.format(cell=cell, kind=kind)
            for note in group["notes"]:
                if note != is_control:
                    found.setdefault(note, []).extend([] if cell in note else [cell])
        for note in retention_notes(result["retention"]):
            found[f"{note['cell']}, {note['kind']} retention: {note['words']}"] = []
        if any(group.get("imported") for group in result["comparison"]["groups"]):
            found[NO_CURVE] = []
        left_out = result["comparison"]["left_out"]
        if left_out:
            found[f"Left out: {', '.join(left_out)}."] = []
    return [_of_cells(note, dict.fromkeys(cells)) for note, cells in found.items()]


def _of_cells(note: str, cells: Iterable[str]) -> str:
    """A sentence with the cells that it is of, where it does not name its cell itself."""
    named = ", ".join(cells)
    return f"{named}: {note}" if named else note
