"""Tables as LaTeX that needs no package beyond the kernel's own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from labmatrix.web.domain.numerals import Numeral
from labmatrix.web.domain.unit_systems import SI
from labmatrix.web.tables import Cell, table_cells
from results.takeaway.wording import plain_text

_SPECIAL = {
    "\\": r"\textbackslash{}", "{": r"\{", "}": r"\}", "$": r"\$", "&": r"\&", "#": r"\#",
    "%": r"\%", "_": r"\_", "^": r"\textasciicircum{}", "~": r"\textasciitilde{}",
    "<": r"\textless{}", ">": r"\textgreater{}", "|": r"\textbar{}", '"': r"\textquotedbl{}",
    "\u2212": "$-$", "\u202f": r"\,", "\u00a0": "~", "×": r"$\times$", "·": r"$\cdot$",
    "≥": r"$\geq$", "≤": r"$\leq$", "°": r"$^\circ$", "²": "$^2$", "³": "$^3$",
    "–": "--", "…": r"\ldots{}",
}  # fmt: skip
_RAISED = dict(zip("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-", strict=True))
_ESCAPES = _SPECIAL | {
    raised: f"$^{{{flat}}}$" for raised, flat in _RAISED.items() if raised not in "²³"
}
_BOUNDS = {"lower": r"$\geq$\,", "upper": r"$\leq$\,", "": ""}


def latex_text(text: str) -> str:
    """Text with every character that LaTeX would act on made harmless."""
    return "".join(_ESCAPES.get(character, character) for character in plain_text(text))


def latex_document(
    tables: Mapping[str, Mapping[str, Any]], footer: Sequence[str], system: str = SI
) -> bytes:
    """Table environments to be put into a document; numbers as the pages print them."""
    head = [f"% {plain_text(line)}" for line in footer]
    parts = [_environment(table, footer, system) for table in tables.values()]
    return "\n".join([*head, *parts]).encode()


def _environment(table: Mapping[str, Any], footer: Sequence[str], system: str) -> str:
    heads, rows = table_cells(table["columns"], table["rows"], system)
    shape = "".join("l" if head.places is None else "r" for head in heads)
    heading = " & ".join(
        latex_text(f"{head.label} ({head.unit})" if head.unit else head.label) for head in heads
    )
    body = [" & ".join(_cell(cell) for cell in row) + r" \\" for row in rows]
    lines = [
        r"\begin{table}",
        rf"\caption{{{latex_text(str(table['caption']))}}}",
        rf"\begin{{tabular}}{{{shape}}}",
        r"\hline",
        rf"{heading} \\",
        r"\hline",
        *body,
        r"\hline",
        r"\end{tabular}",
        *(rf"\par\footnotesize {latex_text(line)}" for line in footer),
        r"\end{table}",
        "",
    ]
    return "\n".join(lines)


def _cell(cell: Cell) -> str:
    if cell.content is None:
        return "--"
    if isinstance(cell.content, Numeral):
        return _BOUNDS[cell.bound] + latex_text(cell.content.text)
    return latex_text(cell.content)
