"""What a sign-in name may be. Plain Python."""

from __future__ import annotations

import re
import unicodedata

from labmatrix.kernel.errors import ShapeError

NAME_MAX = 60
NOT_A_NAME = (
    "The sign-in name is {name!r}; allowed are up to 60 letters, digits, dots, hyphens, "
    "underscores, + and @, beginning with a letter or digit."
)
_SHAPE = re.compile(r"[^\W_][\w.@+-]{0,59}")


def check_sign_in_name(name: str) -> str:
    """A name in its one normal form (NFKC), so that two that look alike to a machine are one.

    Raises:
        ShapeError: ``person.name-shape``.
    """
    tidy = unicodedata.normalize("NFKC", name.strip())
    if not _SHAPE.fullmatch(tidy):
        raise ShapeError("person.name-shape", NOT_A_NAME.format(name=name[:80]), name=name[:80])
    return tidy
