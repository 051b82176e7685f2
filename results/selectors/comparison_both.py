"""The comparison of a series with and without the specimens that have deviations, side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from labmatrix.matrix.models import Series
from results.domain.comparison.small_n import small_n_in_words
from results.selectors.comparison import Comparison, Row, comparison_get
from results.selectors.comparison_json import comparison_as_dict
from results.selectors.retention import RetentionRow, retention_list
from specimens.models import Deviation

CAPTION = (
    "{words} by cell, with every specimen and without those that have a deviation, whatever was "
    "decided about it; gain over the {control}, both retentions."
)
IMPORTED_CAPTION = (
    "{words} by cell, with imported numbers, as reported, no raw record behind them, and without; "
    "gain over the {control}, both retentions."
)
_TEXT = {"kind": "text"}


@dataclass(frozen=True)
class LeftOut:
    """A specimen that one side leaves out, and why: (what, decision, reason) of each deviation."""

    specimen: str
    cell: str
    deviations: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Both:
    """The two sides and what makes them differ."""

    with_all: Comparison
    without: Comparison
    left_out: tuple[LeftOut, ...]
    retained: Mapping[str, Mapping[int, RetentionRow]]


def comparison_both(
    *, series: Series, metric: str, control: str = "gain", method: str = "", at: int | None = None,
    imported: str = "with",
) -> Both:  # fmt: skip
    """A comparison with and without the specimens that have deviations; the caller has checked who
    asks.

    Args:
        series, metric, control, method, at, imported: as for a comparison.

    Raises:
        ShapeError: as a comparison.
    """
    asked: dict[str, Any] = {
        "series": series, "metric": metric, "control": control, "method": method, "at": at,
        "imported": imported,
    }  # fmt: skip
    without = comparison_get(**asked, include="spotless")
    return _both(comparison_get(**asked, include="all"), without, _left_out(series, without))


def comparison_imported(table: Comparison, method: str) -> Both:
    """A comparison with and without imported numbers, of the same specimens.

    Args:
        table: either side.
        method: as it was asked for.
    """
    other = "without" if table.imported == "with" else "with"
    beside = comparison_get(
        series=table.series, metric=table.metric, control=table.control, include=table.include,
        method=method, at=table.at, imported=other,
    )  # fmt: skip
    pair = {table.imported: table, other: beside}
    return _both(pair["with"], pair["without"], ())


def _both(with_all: Comparison, without: Comparison, left_out: tuple[LeftOut, ...]) -> Both:
    return Both(
        with_all=with_all,
        without=without,
        left_out=left_out,
        retained={
            "with": {row.cell.pk: row for row in retention_list(with_all)},
            "without": {row.cell.pk: row for row in retention_list(without)},
        },
    )


def _left_out(series: Series, without: Comparison) -> tuple[LeftOut, ...]:
    rows = (
        Deviation.objects.filter(specimen__cell__series=series, specimen__code__in=without.left_out)
        .select_related("specimen__cell")
        .defer("specimen__route", "specimen__member", "specimen__measured")
        .order_by("specimen__code", "rule", "at")
    )
    found: dict[str, tuple[str, list[tuple[str, str, str]]]] = {}
    for row in rows:
        _, told = found.setdefault(row.specimen.code, (row.specimen.cell.code, []))
        told.append((row.words, row.get_decision_display(), row.why))
    return tuple(LeftOut(code, cell, tuple(told)) for code, (cell, told) in found.items())


def _percent(row: Row) -> Any:
    against = row.against
    if against.gain_percent is None:
        return None
    return {"value": against.gain_percent, "bound": against.bound}


def _mean(row: Row) -> Any:
    group = row.group
    if group.mean is None:
        return None
    return {"value": group.mean, "bound": group.bound if group.bound != "mixed" else ""}


def _kept(row: RetentionRow | None, kind: str) -> Any:
    if row is None:
        return None
    told = row.member if kind == "member" else row.contribution
    value = told.retention.value
    return None if value is None else {"value": value, "bound": told.bound}


def both_table(
    both: Both, words: str, control_words: str, caption: str = CAPTION
) -> dict[str, Any]:
    """The two sides in pairs of columns, one row a cell."""
    unit = both.with_all.unit or both.without.unit or "1"
    pairs: list[tuple[str, dict[str, Any]]] = [
        ("n", {"digits": 6}),
        ("mean", {"unit": unit}),
        ("s", {"unit": unit, "digits": 2}),
        ("gain", {"unit": "%", "digits": 3}),
        ("member retention", {"unit": "1", "digits": 3}),
        ("contribution retention", {"unit": "1", "digits": 3}),
    ]
    columns: list[dict[str, Any]] = [{"label": "Cell", **_TEXT}]
    for label, more in pairs:
        head = label if label in ("n", "s") else label.capitalize()
        columns += [{"label": head, **more}, {"label": f"{head} without", **more}]
    rows = zip(both.with_all.rows, both.without.rows, strict=True)
    return {
        "caption": caption.format(words=words.capitalize(), control=control_words),
        "columns": columns,
        "rows": [_row(both, one, other) for one, other in rows],
    }


def _row(both: Both, one: Row, other: Row) -> list[Any]:
    kept = [both.retained[side].get(one.cell.pk) for side in ("with", "without")]
    found: list[Any] = [one.cell.code, one.group.n, other.group.n]
    for tell in (_mean, lambda row: row.group.s, _percent):
        found += [tell(one), tell(other)]
    for kind in ("member", "contribution"):
        found += [_kept(row, kind) for row in kept]
    return found


def small_n_said(both: Both) -> list[dict[str, Any]]:
    """What the small n of cells mean: a sentence, and the cells on either side that it is of."""
    found: dict[str, dict[str, list[str]]] = {}
    for side, comparison in (("every", both.with_all), ("without", both.without)):
        for row in comparison.rows:
            words = small_n_in_words(row.group.n)
            if words:
                cells = found.setdefault(words, {"every": [], "without": []})
                cells[side].append(row.cell.code)
    return [{"words": words, **cells} for words, cells in sorted(found.items())]


def both_as_dict(both: Both) -> dict[str, Any]:
    """The API's answer."""
    return {
        "with": comparison_as_dict(both.with_all),
        "without": comparison_as_dict(both.without),
        "retention": {
            side: [
                {
                    "cell": row.cell.code,
                    "member": row.member.retention.value,
                    "contribution": row.contribution.retention.value,
                }
                for row in rows.values()
            ]
            for side, rows in both.retained.items()
        },
        "left_out": [
            {
                "specimen": one.specimen,
                "cell": one.cell,
                "deviations": [
                    {"words": words, "decision": decision, "why": why}
                    for words, decision, why in one.deviations
                ],
            }
            for one in both.left_out
        ],
    }
