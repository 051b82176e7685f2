"""What a file that is taken away says: its tables, and at its foot n, version and origin."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import NotFound
from labmatrix.web.domain.roles import NOT_YOURS
from results.comparison_tables import (
    comparison_table,
    contribution_table,
    member_table,
    modes_table,
    specimens_table,
)
from results.domain.comparison.groups import imported_codes
from results.selectors.comparison import Comparison
from results.selectors.comparison_json import comparison_as_dict
from results.selectors.failure_mode import failure_mode_list
from results.selectors.release import release_list_latest
from results.selectors.retention import retention_list
from results.selectors.retention_json import retention_as_dict

IMPORTED_SAID = {
    "with": "Of them {count} imported, number as reported, no raw record behind it: {codes}.",
    "without": "Left out as imported, number as reported, no raw record behind it: {codes}.",
}
NOT_DRAWN = "Their number is imported, so they have no record and no curve: {codes}."
INVENTED_SAID = "Invented data: made up to show the tool, measured by nobody."


def comparison_tables(comparison: Comparison) -> dict[str, dict[str, Any]]:
    """The tables of a comparison by a short name; retention only where a cell was conditioned."""
    modes = failure_mode_list(comparison.series, comparison.kept)
    data = retention_as_dict(comparison, retention_list(comparison), modes)
    told = comparison_as_dict(comparison)
    found = {"comparison": comparison_table(told), "specimens": specimens_table(told)}
    if data["cells"]:
        found |= {"member": member_table(data), "contribution": contribution_table(data)}
    if modes:
        found["modes"] = modes_table(data["failure_modes"])
    return found


def cell_comparison(comparison: Comparison, cell: str) -> Comparison:
    """The row of one cell, with its controls named in it as before.

    Raises:
        NotFound: the series has no such cell.
    """
    rows = tuple(row for row in comparison.rows if row.cell.code == cell)
    if not rows:
        raise NotFound("access.not-yours", NOT_YOURS)
    return replace(comparison, rows=rows)


def cell_tables(comparison: Comparison) -> dict[str, dict[str, Any]]:
    """The tables of ``cell_comparison`` by a short name."""
    told = comparison_as_dict(comparison)
    return {"comparison": comparison_table(told), "specimens": specimens_table(told)}


def origin_said(comparison: Comparison, now: datetime, n: int | None = None) -> list[str]:
    """Lines for the foot of a file of work in progress.

    Args:
        comparison: what the file shows.
        now: when it was asked for.
        n: specimens drawn by their curves; without it those with a value.
    """
    count = sum(row.group.n for row in comparison.rows) if n is None else n
    latest = release_list_latest([comparison.series]).get(comparison.series.pk)
    version = f"the latest release is version {latest.version}" if latest else "none is released"
    made = "; ".join((*comparison.reductions, f"Strongfloor {comparison.software}"))
    left_out = ", ".join(comparison.left_out) or "none"
    lines = [
        f"n = {count} specimens; left out: {left_out}.",
        f"{comparison.series.code}: work in progress as of {iso(now)}, not a release; {version}.",
        f"{made}.",
    ]
    if comparison.imported_codes:
        codes = ", ".join(comparison.imported_codes)
        drawn = NOT_DRAWN.format(codes=codes)
        lines.insert(1, _imported_said(comparison) if n is None else drawn)
    return [*lines, *([INVENTED_SAID] if comparison.series.programme.is_invented else [])]


def _imported_said(comparison: Comparison) -> str:
    """The line on imported numbers, of the cells that the file shows."""
    shown = [code for row in comparison.rows for code in imported_codes(row.samples)]
    codes = shown if comparison.imported == "with" else comparison.imported_codes
    words = IMPORTED_SAID[comparison.imported]
    return words.format(count=len(codes), codes=", ".join(codes) or "none")
