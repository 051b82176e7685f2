"""The workbook to fill in: headings, an example that is no data, and what each cell may hold."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

from labmatrix.kernel.units import DIMENSIONS
from results.domain.history.book import EVENTS, HELP, RESULTS, SPECIMENS
from results.domain.history.details import KINDS, details_help
from results.domain.history.metrics import BY_CYCLE
from results.domain.history.metrics import RESULTS as KNOWN_RESULTS

HEADINGS: Mapping[str, Sequence[tuple[str, str]]] = {
    SPECIMENS: (
        ("specimen", "Code on its label: A-Z, 0-9 and hyphens. Needed."),
        ("series", "Code of its series. Needed."),
        ("cell", "Code of its cell in the series. Needed."),
        ("locations", "Places tested apart, with commas between them, such as N, S."),
        ("b [mm]", "What was measured, one column each, its unit in brackets; b is the width."),
        ("h [mm]", "The height. Names as in the series' member; take them out, or add others."),
    ),
    EVENTS: (
        ("specimen", "Code on its label. Needed."),
        ("event", "One of the kinds on the sheet Help. Needed."),
        ("date", "A day: a date cell, or 2019-03-05, or 05.03.2019. Needed."),
        ("time", "Time of day, if it is known: 14:30. Without it, noon and the order of the rows."),
        ("details", "name: value; name: value. Numbers with their units: load: 8,5 kN."),
    ),
    RESULTS: (
        ("specimen", "Code on its label. Needed."),
        ("result", "One of the names on the sheet Help. Needed."),
        ("value", "A number, with a decimal point or comma. Needed."),
        ("unit", "Its unit. Needed."),
        ("standard uncertainty", "In the same unit, if it is known."),
        ("load cycle", "For results of one load cycle only."),
        ("method", "How it was found, if several ways are usual."),
        ("measured on", "Day of the test."),
        ("raw record", "Name of the raw file, if there is one; upload it to have it reduced."),
    ),
}
_FIRST = (
    "Specimens, what happened to them, and numbers as they were reported: one sheet each.",
    "A file is taken in whole or not at all; the same file again changes nothing.",
    "Values only: no formulas, no merged cells. Empty rows do not matter, empty sheets neither.",
    "Days and times are meant in the laboratory's time zone.",
    "Numbers on the sheet Results have no raw record behind them: they are marked as imported "
    "wherever they stand, counted apart, and can be left out.",
)


def template_workbook() -> bytes:
    """The bytes of the .xlsx: three empty tables and the sheet Help."""
    import xlsxwriter

    sink = io.BytesIO()
    book = xlsxwriter.Workbook(sink, {"in_memory": True, "strings_to_formulas": False})
    bold, wrap = book.add_format({"bold": True}), book.add_format({"text_wrap": True})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    for name, columns in HEADINGS.items():
        sheet = book.add_worksheet(name)
        sheet.freeze_panes(1, 0)
        for place, (heading, about) in enumerate(columns):
            sheet.write_string(0, place, heading, bold)
            sheet.write_comment(0, place, about)
            is_day = heading in ("date", "measured on")
            sheet.set_column(place, place, max(14, len(heading) + 2), day if is_day else None)
    help_sheet = book.add_worksheet(HELP)
    help_sheet.set_column(0, 0, 24)
    help_sheet.set_column(1, 1, 110, wrap)
    for row, (name, words) in enumerate(_help_rows()):
        help_sheet.write_string(row, 0, name, bold)
        help_sheet.write_string(row, 1, words)
    book.close()
    return sink.getvalue()


def _help_rows() -> list[tuple[str, str]]:
    rows = [("", line) for line in _FIRST]
    for sheet, columns in HEADINGS.items():
        rows.append(("", ""))
        rows += [(f"{sheet}: {heading}", about) for heading, about in columns]
    rows += [("", ""), ("Event", "Its details; [unit] stands for any unit of that kind")]
    rows += [(kind, details_help(kind) or "no details") for kind in KINDS]
    rows += [("", ""), ("Result", "Kept in this unit; any unit of its kind may be typed")]
    for name, unit in KNOWN_RESULTS.items():
        cycle = ", of one load cycle" if name in BY_CYCLE else ""
        rows.append((name.replace("_", " "), ("no unit: write 1" if unit == "1" else unit) + cycle))
    rows += [("", ""), ("Kind of quantity", "Units")]
    rows += [(name, ", ".join(kind.allowed)) for name, kind in DIMENSIONS.items()]
    return rows
