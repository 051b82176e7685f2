"""Persistent things of this room, one noun a file."""

from labmatrix.matrix.models.cell import Cell, CellLevel
from labmatrix.matrix.models.factor import Factor
from labmatrix.matrix.models.forbidden import ForbiddenCombination
from labmatrix.matrix.models.invitation import Invitation
from labmatrix.matrix.models.level import Level
from labmatrix.matrix.models.membership import Membership
from labmatrix.matrix.models.programme import Programme
from labmatrix.matrix.models.series import Series

__all__ = [
    "Cell",
    "CellLevel",
    "Factor",
    "ForbiddenCombination",
    "Invitation",
    "Level",
    "Membership",
    "Programme",
    "Series",
]
