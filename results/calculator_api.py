"""Calculators: numbers in, every intermediate number out; nothing is kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.text import check_storable
from results.domain.prediction.calculators import (
    calculate_beam,
    calculate_flexure,
    calculate_protocol,
)

NOT_FOR_WORKS = "For planning tests, never for the design of works."
Calculate = Callable[[Mapping[str, Any]], dict[str, Any]]
CALCULATORS: Mapping[str, Calculate] = MappingProxyType(
    {
        "flexure": calculate_flexure,
        "beam": calculate_beam,
        "protocol": calculate_protocol,
    }
)


def calculate(which: str, payload: object) -> dict[str, Any]:
    """The answer of a calculator.

    Args:
        which: ``flexure``, ``beam`` or ``protocol``.
        payload: what came in.

    Raises:
        ShapeError: ``input.object`` for anything but an object; else with argument, value and
            allowed range.
    """
    if not isinstance(payload, Mapping):
        raise ShapeError(
            "input.object", "The payload is no object; allowed is an object with named fields."
        )
    check_storable(payload, argument="payload")
    return {"note": NOT_FOR_WORKS, **CALCULATORS[which](payload)}


class CalculatorView(APIView):
    """POST /api/calculators/{flexure,beam,protocol}/."""

    which = ""

    @extend_schema(request=OpenApiTypes.OBJECT, responses=OpenApiTypes.OBJECT)
    def post(self, request: Request) -> Response:
        """Every intermediate value as {value, unit}, with formula and source."""
        return Response(calculate(self.which, request.data))
