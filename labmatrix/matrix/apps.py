"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class MatrixConfig(AppConfig):
    """Programmes, series, factors, cells."""

    name = "labmatrix.matrix"
    label = "matrix"
