"""Which decimal and thousands marks a file uses: decided by evidence, refused where there is none.

For each form the cells that fit it are counted. A number with three digits after its only mark
fits two forms; any other number (``0,5``, ``0,512``, ``1234,567``, ``1.234,5``) decides.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.cells import THOUSANDS_MARKS, NumberForm

# One cell in fifty may be dirt; more than that is a second way to write numbers.
MIXED_SHARE = 0.02
_SAME_DIGIT = str.maketrans("023456789", "111111111")


def _fits(form: NumberForm, cell: str) -> bool:
    """Whether a cell agrees with a form, where groups, if the form has them, are never left out."""
    if not form.fits(cell):
        return False
    if form.thousands is None:
        return True
    whole = re.split(rf"[eE{re.escape(form.decimal)}]", cell.lstrip("+-−"))[0]
    if form.thousands in whole:
        return not whole.startswith("0")
    return len(whole) <= 3


def _shapes(cells: Sequence[str]) -> list[tuple[str, int]]:
    """One cell of each shape, and how many have it: which digits they are makes no difference to
    a form, but for a leading zero."""
    counts = Counter((c.translate(_SAME_DIGIT), c.lstrip("+-−").startswith("0")) for c in cells)
    first = {
        shape.replace("1", "0", 1) if zero else shape: n for (shape, zero), n in counts.items()
    }
    return list(first.items())


def _forms(cells: Sequence[str]) -> list[NumberForm]:
    present = set("".join(cells))
    forms = [NumberForm("."), NumberForm(",")]
    for mark in THOUSANDS_MARKS:
        if mark in present:
            forms += [NumberForm(decimal, mark) for decimal in ".," if decimal != mark]
    return forms


def decide_form(cells: Sequence[str], delimiter: str) -> tuple[NumberForm, str | None]:
    """The number form of stripped sample cells, and a cell that only the delimiter decided.

    The delimiter decides one case alone: with semicolons between the columns a comma is the
    decimal mark, because that is why the semicolon is there.

    Raises:
        ShapeError: ``record.decimal-ambiguous`` or ``record.decimal-mixed``.
    """
    if not cells:
        return NumberForm(), None
    forms, shapes = _forms(cells), _shapes(cells)
    counts = [sum(n for cell, n in shapes if _fits(form, cell)) for form in forms]
    if max(counts) < len(cells):
        # Columns such as a row number may be ungrouped in a file that groups the others.
        counts = [sum(n for cell, n in shapes if form.fits(cell)) for form in forms]
    best = max(counts)
    winners = [form for form, count in zip(forms, counts, strict=True) if count == best]
    if not all(winners[0].fits(cell) for cell, _ in shapes):
        _refuse_mixed(cells, winners[0], forms)
    grouping_comma = any(form.decimal == "." and form.thousands == "," for form in winners)
    if NumberForm(",") in winners and grouping_comma and NumberForm(".") not in winners:
        example = next(cell for cell in cells if "," in cell)
        if delimiter != ";":
            raise refusals.decimal_ambiguous(example)
        return NumberForm(","), example
    return winners[0], None


def _refuse_mixed(cells: Sequence[str], best: NumberForm, forms: Sequence[NumberForm]) -> None:
    outside = [cell for cell in cells if not best.fits(cell)]
    for form in forms:
        others = [cell for cell in outside if form.fits(cell)]
        if len(others) > max(1, MIXED_SHARE * len(cells)):
            inside = next((c for c in cells if best.fits(c) and not form.fits(c)), None)
            if inside is not None:
                raise refusals.decimal_mixed(inside, others[0])
