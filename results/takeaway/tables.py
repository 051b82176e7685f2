"""One or several tables of the notebook as CSV, XLSX or LaTeX."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.web.domain.unit_systems import SI, spread_shown, unit_shown, value_shown
from results.export import Cell
from results.takeaway.latex import latex_document
from results.takeaway.wording import plain_text, safe_cell

Tables = Mapping[str, Mapping[str, Any]]
TABLE_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "tex": "application/x-tex; charset=utf-8",
}
UNKNOWN = "A table was asked for as {given!r}; allowed are {allowed}."
CONVERTED = "Units: {system}, converted from SI."
_SHEET_NAME_MAX = 31


def table_as(kind: str, tables: Tables, footer: Sequence[str], system: str = SI) -> bytes:
    """The file's bytes.

    Args:
        kind: ``csv``, ``xlsx`` or ``tex``.
        tables: by a short name, each {"caption", "columns", "rows"} as for the notebook.
        footer: lines that say n, version and origin.
        system: in whose units numbers are written, the unit in each heading.

    Raises:
        ShapeError: ``takeaway.format``.
    """
    makers: dict[str, Callable[[Tables, Sequence[str], str], bytes]] = {
        "csv": _csv,
        "xlsx": _xlsx,
        "tex": latex_document,
    }
    if kind not in makers:
        words = UNKNOWN.format(given=kind, allowed=", ".join(makers))
        raise ShapeError("takeaway.format", words, allowed=list(makers))
    said = footer if system == SI else [*footer, CONVERTED.format(system=system)]
    return makers[kind](tables, said, system)


def grid(table: Mapping[str, Any], system: str = SI) -> Iterator[list[Cell]]:
    """Heading with units, then rows; uncertainties and bounds stand in columns of their own."""
    columns, rows = table["columns"], table["rows"]
    extras = [_extras([row[place] for row in rows]) for place in range(len(columns))]
    heading: list[Cell] = []
    for column, more in zip(columns, extras, strict=True):
        label, unit = _heading(column, system)
        heading.append(safe_cell(f"{label}{unit}"))
        heading += [safe_cell(f"u of {label}{unit}")] if "u" in more else []
        heading += [safe_cell(f"{label} is a bound")] if "bound" in more else []
    yield heading
    for row in rows:
        cells: list[Cell] = []
        for column, value, more in zip(columns, row, extras, strict=True):
            whole = _shown(column, value, system)
            cells += [safe_cell(whole.get(name)) for name in ("value", *more)]
        yield cells


def _heading(column: Mapping[str, Any], system: str) -> tuple[str, str]:
    unit = unit_shown(str(column.get("unit") or "1"), system)
    return str(column["label"]), "" if column.get("kind") == "text" else f" [{unit}]"


def _shown(column: Mapping[str, Any], value: Any, system: str) -> Mapping[str, Any]:
    """A cell with its numbers in the units of a system: u is scaled, never shifted."""
    whole = value if isinstance(value, Mapping) else {"value": value}
    unit, number, u = str(column.get("unit") or "1"), whole.get("value"), whole.get("u")
    if column.get("kind") == "text" or isinstance(number, str | bool) or number is None:
        return whole
    return {
        **whole,
        "value": value_shown(number, unit, system),
        "u": spread_shown(u, unit, system) if u else u,
    }


def _extras(values: Sequence[Any]) -> list[str]:
    told = [value for value in values if isinstance(value, Mapping)]
    return [name for name in ("u", "bound") if any(value.get(name) for value in told)]


def _csv(tables: Tables, footer: Sequence[str], system: str) -> bytes:
    sink = io.StringIO()
    writer = csv.writer(sink)
    for table in tables.values():
        writer.writerow([safe_cell(table["caption"])])
        writer.writerows(grid(table, system))
        writer.writerow([])
    writer.writerows([safe_cell(line)] for line in footer)
    # With a byte order mark spreadsheets read the file as UTF-8.
    return sink.getvalue().encode("utf-8-sig")


def _xlsx(tables: Tables, footer: Sequence[str], system: str) -> bytes:
    import xlsxwriter

    sink = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(sink, options)
    strong = book.add_format({"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1})
    for name, table in tables.items():
        sheet = book.add_worksheet(plain_text(name)[:_SHEET_NAME_MAX])
        rows = [[safe_cell(table["caption"])], *grid(table, system), []]
        rows += [[safe_cell(line)] for line in footer]
        for at, row in enumerate(rows):
            for place, cell in enumerate(row):
                look = strong if at == 1 else None
                if isinstance(cell, str):
                    sheet.write_string(at, place, cell, look)
                else:
                    sheet.write_number(at, place, cell, look)
        sheet.set_column(0, max(len(row) for row in rows) - 1, 16)
        sheet.freeze_panes(2, 1)
    book.close()
    return sink.getvalue()
