"""The API of specimens."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.matrix.selectors.cell import cell_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from labmatrix.web.listing import PAGE_PARAMETERS, page_answer, page_of
from labmatrix.web.parsers import BoundedJSONParser
from specimens.presenters import specimen_detail, specimen_row
from specimens.selectors.access import specimen_get
from specimens.selectors.sheet import specimen_sheet
from specimens.selectors.specimen import SpecimenFilter, specimen_list_ids, specimen_list_page
from specimens.services.event_parse import instant_parse
from specimens.services.specimen import specimen_measured_set, specimens_create
from specimens.shapes import MeasuredRequest, SpecimenCreateRequest, SpecimenDetail, SpecimenRow

_FILTERS = [
    OpenApiParameter("programme", str, description="Code of a programme."),
    OpenApiParameter("series", str, description="Code of a series."),
    OpenApiParameter("cell", str, description="Code of a cell."),
    OpenApiParameter("stage", str, description="Derived stage, such as `strengthened`."),
]
_AT = OpenApiParameter(
    "at",
    datetime,
    description="Instant for the ages; the specimen's end, or now, unless given.",
)


class SpecimensView(APIView):
    """Specimens of the programmes whose work the person may see."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(
        operation_id="specimens_list",
        parameters=[*_FILTERS, *PAGE_PARAMETERS],
        responses=page_of(SpecimenRow),
    )
    def get(self, request: Request) -> Response:
        """Pages of specimens by code."""
        wanted = SpecimenFilter(
            **{
                name: request.query_params.get(name, "")
                for name in ("programme", "series", "cell", "stage")
            }
        )
        ids = specimen_list_ids(actor=actor_of(request), wanted=wanted)
        return page_answer(request, ids, specimen_list_page, partial(specimen_row, now=now()))

    @extend_schema(
        operation_id="specimens_create",
        request=SpecimenCreateRequest,
        responses={201: SpecimenRow(many=True)},
    )
    def post(self, request: Request) -> Response:
        """Create the next specimens of a cell, all or none; their codes are frozen."""
        actor, instant = actor_of(request), now()
        asked = SpecimenCreateRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        data: dict[str, Any] = asked.validated_data
        cell = cell_get(actor, data["series"], data["cell"], Action.CREATE_SPECIMEN)
        made = specimens_create(
            actor=actor,
            cell=cell,
            count=data["count"],
            measured=data["measured"],
            locations=data["locations"],
            now=instant,
        )
        rows = specimen_list_page([specimen.pk for specimen in made])
        return Response(
            [specimen_row(row, instant) for row in rows], status=status.HTTP_201_CREATED
        )


class SpecimenView(APIView):
    """One specimen."""

    @extend_schema(operation_id="specimens_get", parameters=[_AT], responses=SpecimenDetail)
    def get(self, request: Request, code: str) -> Response:
        """Derived stage, ages, load cycles, place, route, deviations, conflicts, events."""
        asked = request.query_params.get("at")
        sheet = specimen_sheet(
            actor=actor_of(request),
            code=code,
            now=now(),
            at=instant_parse(asked, "at") if asked else None,
        )
        return Response(specimen_detail(sheet))


class SpecimenMeasuredView(APIView):
    """Measured geometry and material values."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(
        operation_id="specimens_measured", request=MeasuredRequest, responses=SpecimenDetail
    )
    def post(self, request: Request, code: str) -> Response:
        """Put measured values in the place of specified ones, and say why."""
        actor, instant = actor_of(request), now()
        specimen = specimen_get(actor=actor, code=code, action=Action.CREATE_SPECIMEN)
        asked = MeasuredRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        specimen_measured_set(
            actor=actor,
            specimen=specimen,
            measured=asked.validated_data["measured"],
            why=asked.validated_data["why"],
            now=instant,
        )
        return Response(specimen_detail(specimen_sheet(actor=actor, code=code, now=instant)))
