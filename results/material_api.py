"""What was measured of lots, and what the members of a series are predicted with, as JSON."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.units import quantity
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.domain.materials.pools import Pool
from results.domain.materials.properties import PROPERTIES
from results.domain.materials.resolve import LotKnown, design_of
from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.selectors.materials import lots_known, lots_of_series, materials_of_specimens
from specimens.models import Specimen
from specimens.selectors.lot import lot_get


def pool_as_dict(pool: Pool) -> dict[str, Any]:
    """Values found alike: n, mean, s, COV, how, age, and every value with its source."""
    return {
        "property": pool.name,
        "words": PROPERTIES[pool.name].words,
        "test": pool.test,
        "how": pool.how,
        "age_days": pool.age_days,
        "n": pool.n,
        "mean": quantity(pool.mean, pool.unit),
        "s": None if pool.s is None else quantity(pool.s, pool.unit),
        "cov": pool.cov,
        "values": [
            {
                "mark": sample.mark,
                "value": quantity(sample.value, pool.unit),
                "source": sample.source,
                "id": sample.key,
                "rule": sample.rule,
            }
            for sample in pool.samples
        ],
    }


def lot_as_dict(known: LotKnown) -> dict[str, Any]:
    """A lot with what is specified, what was measured, and its design values."""
    design = design_of(known.pools, known.code, DEFAULT_LIMITS["strain-cap"])
    return {
        "code": known.code,
        "kind": known.kind,
        "source": known.source,
        "specified": dict(known.specified),
        "measured": [pool_as_dict(pool) for pool in known.pools],
        "design_strain": None
        if design is None
        else {"value": design.value, "unit": "mm/mm", "rule": design.words, "n": design.n},
    }


class LotPropertiesView(APIView):
    """GET /api/lots/{code}/properties/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, code: str) -> Response:
        """What was measured of a lot, put together where the tests are alike."""
        lot = lot_get(actor=actor_of(request), code=code)
        return Response(lot_as_dict(lots_known([lot])[lot.code]))


class SeriesMaterialsView(APIView):
    """GET /api/series/{code}/materials/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, code: str) -> Response:
        """Lots of a series, and the values that each specimen is predicted with."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        known = lots_known(lots_of_series(series))
        members = list(
            Specimen.objects.filter(cell__series=series)
            .select_related("state", "subject")
            .order_by("cell_id", "number")
        )
        found = materials_of_specimens(members)
        return Response(
            {
                "series": series.code,
                "lots": [lot_as_dict(lot) for lot in known.values()],
                "specimens": [
                    {
                        "specimen": member.code,
                        "materials": [material.as_input() for material in found[member.pk]],
                    }
                    for member in members
                ],
            }
        )
