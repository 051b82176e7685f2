"""The plate in words and numbers."""

from __future__ import annotations

from typing import Any

from results.selectors.plate import Plate, PlateCell


def plate_as_table(plate: Plate) -> dict[str, Any]:
    """The plate in words and numbers: the picture's alternative."""
    has_imported = plate.comparison.n_imported > 0
    rows = []
    for name, squares in plate.rows:
        for column, square in zip(plate.columns, squares, strict=True):
            for cell in square.cells:
                group = cell.row.group
                ends = ", ".join(f"{n} {end}" for end, n in sorted(cell.ends.items())) or "none"
                rows.append(
                    [
                        name,
                        column,
                        ", ".join(cell.other_levels),
                        cell.planned,
                        cell.made,
                        cell.in_progress,
                        ends,
                        group.n,
                        *([group.imported] if has_imported else []),
                        group.mean,
                        group.s,
                        *_predicted(cell),
                    ]
                )
    unit = plate.comparison.unit or "1"
    return {
        "caption": "The plate as a table."
        + (" Imported: number as reported, no raw record behind it." if has_imported else ""),
        "columns": [
            {"label": plate.down.name if plate.down else "", "kind": "text"},
            {"label": plate.across.name if plate.across else "", "kind": "text"},
            {"label": "Other levels", "kind": "text"},
            {"label": "Planned", "digits": 6},
            {"label": "Made", "digits": 6},
            {"label": "In progress", "digits": 6},
            {"label": "Ends", "kind": "text"},
            {"label": "n", "digits": 6},
            *([{"label": "of them imported", "digits": 6}] if has_imported else []),
            {"label": f"Mean {plate.comparison.metric.replace('_', ' ')}", "unit": unit},
            {"label": "s", "unit": unit, "digits": 2},
            {"label": "Predicted ultimate load", "unit": "kN"},
            {"label": "Predicted mode", "kind": "text"},
            {"label": "Flags", "kind": "text"},
        ],
        "rows": rows,
    }


def _predicted(cell: PlateCell) -> tuple[float | None, str, str]:
    """Ultimate load in kN, governing mode, and flags or the reason why there is none."""
    prediction = cell.prediction
    if prediction is None:
        return None, "", "not predicted yet"
    if prediction.error:
        return None, "", str(prediction.error["message"])
    outcome = prediction.outcome
    return outcome["ultimate_load"]["value"], outcome["mode"], " ".join(outcome["flags"])
