"""Tables to take away: units in every heading, versions in every row, no live formulae."""

from __future__ import annotations

from collections.abc import Iterator

from results.domain.comparison.groups import imported_codes
from results.selectors.comparison import CONTROLS, INCLUDES, Comparison, Row
from results.selectors.imported import IMPORTED_CHOICES

Cell = str | int | float

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def neutral(value: Cell | None) -> Cell:
    """A cell that no spreadsheet takes for a formula; nothing becomes empty text."""
    if value is None:
        return ""
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return f"'{value}"
    return value


def _heading(comparison: Comparison) -> list[Cell]:
    unit = comparison.unit or "1"
    metric = comparison.metric
    return [
        "cell",
        *(neutral(name) for name in comparison.factors),
        "n [specimens]",
        "of them imported [specimens]",
        "sub-samples [1]",
        f"mean {metric} [{unit}]",
        f"s {metric} [{unit}]",
        "mean is a bound",
        "mean age of concrete [d]",
        "ends [specimens]",
        f"{CONTROLS[comparison.control]}",
        "control n [specimens]",
        "control: imported [specimens]",
        f"control mean {metric} [{unit}]",
        "control mean age of concrete [d]",
        "gain [1]",
        "gain is a bound",
        "specimens",
        f"u of specimens [{unit}]",
        "imported: number as reported, no raw record behind it",
        "notes",
        "included",
        "method",
        "at [load cycles]",
        "reductions",
        "software",
        "data",
    ]


def _row(comparison: Comparison, row: Row) -> list[Cell]:
    group, compared = row.group, row.against
    ends = "; ".join(f"{end}: {count}" for end, count in sorted(group.ends.items()))
    programme = comparison.series.programme
    cells: list[Cell | None] = [
        group.cell,
        *(row.levels.get(name, "") for name in comparison.factors),
        group.n,
        group.imported,
        group.sub_samples,
        group.mean,
        group.s,
        group.bound,
        group.age_d,
        ends,
        compared.control,
        compared.control_n,
        compared.control_imported,
        compared.control_mean,
        compared.control_age_d,
        compared.gain,
        compared.bound,
        "; ".join(f"{s.specimen}={s.value!r}" for s in row.samples),
        "; ".join(f"{s.specimen}={s.u!r}" for s in row.samples if s.u is not None),
        "; ".join(imported_codes(row.samples)),
        " ".join((*group.notes, *compared.notes)),
        f"{INCLUDES[comparison.include]}; {IMPORTED_CHOICES[comparison.imported]}",
        comparison.method,
        comparison.at,
        "; ".join(comparison.reductions),
        f"Strongfloor {comparison.software}",
        "invented" if programme.is_invented else "measured",
    ]
    return [neutral(cell) for cell in cells]


def comparison_csv(comparison: Comparison) -> Iterator[list[Cell]]:
    """Rows of the table, the heading first."""
    yield _heading(comparison)
    for row in comparison.rows:
        yield _row(comparison, row)
