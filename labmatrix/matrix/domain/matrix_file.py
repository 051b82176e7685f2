"""From the bytes of a matrix file to what it says."""

from __future__ import annotations

import json

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.document import MatrixDocument
from labmatrix.matrix.domain.document_json import document_of_json
from labmatrix.matrix.domain.document_sheet import document_of_sheet
from labmatrix.matrix.domain.sheet import check_size, read_sheet


def read_document(filename: str, content: bytes) -> MatrixDocument:
    """What a matrix file says.

    Args:
        filename: .csv, .txt, .tsv, .xlsx or .json.
        content: the whole file.

    Raises:
        UserError: the file as a whole cannot be read; see ``read_sheet`` and ``document_of_json``.
    """
    if filename.lower().endswith(".json"):
        check_size(len(content))
        try:
            data = json.loads(content.decode("utf-8-sig"), parse_constant=_no_constant)
        except (UnicodeDecodeError, ValueError, RecursionError) as error:
            raise ShapeError(
                "matrix.file-unreadable", f"The file is no JSON in UTF-8 ({error})."
            ) from error
        return document_of_json(data)
    return document_of_sheet(read_sheet(filename, content))


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is no number in JSON")
