"""Codes: of levels, of cells, of specimens. What is printed on a label never changes again."""

from __future__ import annotations

import re
import string
import unicodedata
from collections.abc import Collection, Iterable

from labmatrix.kernel.codes import CODE_PATTERN
from labmatrix.kernel.errors import ShapeError

CODE_WORDS = "capital letters A-Z, digits and single hyphens between them, such as QV-B2"
PROGRAMME_CODE_MAX = 40
SERIES_CODE_MAX = 20
CELL_CODE_MAX = 32
SPECIMEN_CODE_MAX = 60
LEVEL_CODE_MAX = 12
DEFAULT_TEMPLATE = "{series}-{cell}-{n:02d}"
_CODE = re.compile(CODE_PATTERN)
_LEVEL_CODE = re.compile(r"^[A-Z0-9]+\Z")
_WORD = re.compile(r"[A-Za-z0-9]+")
_TEMPLATE_FIELDS = frozenset({"series", "cell", "n"})
_NUMBER_SPEC = re.compile(r"^(0[1-4])?d?\Z")


def check_code(code: str, *, argument: str, at_most: int) -> str:
    """The code itself, if it is one.

    Args:
        code: what a person wrote.
        argument: its name in the sentence of a refusal.
        at_most: the number of characters allowed.

    Raises:
        ShapeError: ``code.shape``.
    """
    if not _CODE.match(code) or len(code) > at_most:
        raise ShapeError(
            "code.shape",
            f"{argument} is {code!r}; allowed are {CODE_WORDS}, at most {at_most} characters.",
            argument=argument,
            value=code,
        )
    return code


def check_level_code(code: str) -> str:
    """The code of a level itself: without hyphens, so that a cell's code can be taken apart.

    Raises:
        ShapeError: ``code.level-shape``.
    """
    if not _LEVEL_CODE.match(code) or len(code) > LEVEL_CODE_MAX:
        raise ShapeError(
            "code.level-shape",
            f"The code of a level is {code!r}; allowed are capital letters A-Z and digits, at "
            f"most {LEVEL_CODE_MAX} characters, such as WDS or P2.",
            value=code,
        )
    return code


def _ascii(text: str) -> str:
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()


def numeric_level_code(factor: str, value: str) -> str:
    """A short code for a number: the factor's initial, the digits, M for minus, P for the point.

    ``plies`` at ``2`` gives ``P2``; ``sustained`` at ``0.4`` gives ``S0P4``.
    """
    letters = re.sub(r"[^A-Za-z]", "", _ascii(factor)).upper()
    digits = value.replace("-", "M").replace(".", "P").replace("+", "").upper()
    return f"{letters[:1] or 'X'}{digits}"[:LEVEL_CODE_MAX]


def named_level_code(value: str) -> str:
    """A short code for a name: initials of several words, else the first three letters.

    ``wet–dry salt`` gives ``WDS``, ``laboratory`` gives ``LAB``.
    """
    apart = unicodedata.normalize("NFKD", value)
    words = _WORD.findall("".join(c for c in apart if not unicodedata.combining(c)))
    if not words:
        return "L"
    code = "".join(word[0] for word in words) if len(words) > 1 else words[0][:3]
    return code.upper()[:LEVEL_CODE_MAX]


def distinct_code(code: str, taken: Collection[str]) -> str:
    """The code, with a running number where another level has it already."""
    if code not in taken:
        return code
    number = 2
    while True:
        ending = str(number)
        candidate = f"{code[: LEVEL_CODE_MAX - len(ending)]}{ending}"
        if candidate not in taken:
            return candidate
        number += 1


def cell_code(level_codes: Iterable[str]) -> str:
    """A cell's code from its levels' codes, in the order of the factors.

    Raises:
        ShapeError: ``code.shape`` when the whole is longer than 32 characters.
    """
    return check_code("-".join(level_codes), argument="The cell's code", at_most=CELL_CODE_MAX)


def check_template(template: str) -> str:
    """A template for specimens' codes, if every series, cell and number would give its own code.

    Raises:
        ShapeError: ``code.template``.
    """
    problem = _template_problem(template)
    if problem:
        raise ShapeError(
            "code.template",
            f"The template of codes is {template!r}, {problem}; allowed is a text such as "
            f"{DEFAULT_TEMPLATE} with {{series}}, {{cell}} and {{n}}.",
            template=template,
        )
    return template


def _template_problem(template: str) -> str | None:
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError:
        return "whose braces do not close"
    names = [name for _, name, _, _ in parts if name is not None]
    if set(names) - _TEMPLATE_FIELDS:
        return f"which asks for {', '.join(sorted(set(names) - _TEMPLATE_FIELDS)) or 'nothing'}"
    if not {"cell", "n"} <= set(names):
        return "in which {cell} or {n} is missing, so that two specimens would share a code"
    for _, name, spec, conversion in parts:
        if conversion or (spec and (name != "n" or not _NUMBER_SPEC.match(spec))):
            return f"in which {{{name}}} is formatted in a way that is not known"
    if not _CODE.match(_filled(template, "S1", "C1", 1)):
        return f"which would not give {CODE_WORDS}"
    return None


def _filled(template: str, series: str, cell: str, number: int) -> str:
    return template.format(series=series, cell=cell, n=number)


def specimen_code(template: str, *, series: str, cell: str, number: int) -> str:
    """The code of a specimen of a cell, such as QV-B-P2-FT-03.

    Args:
        template: from ``check_template``.
        series, cell: codes.
        number: from 1 upward within the cell.

    Raises:
        ShapeError: ``code.template``, or ``code.shape`` when longer than 60 characters.
    """
    code = _filled(check_template(template), series, cell, number)
    return check_code(code, argument="The specimen's code", at_most=SPECIMEN_CODE_MAX)
