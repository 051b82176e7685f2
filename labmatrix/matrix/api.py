"""The API of programmes, series and cells."""

from __future__ import annotations

import json
from functools import partial
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.sheet import check_size
from labmatrix.matrix.models import Cell, Series
from labmatrix.matrix.presenters import cell_row, programme_row, series_detail, series_row
from labmatrix.matrix.selectors.cell import cell_list_by_code, cell_list_ids, cell_list_page
from labmatrix.matrix.selectors.programme import (
    membership_list_of_programme,
    programme_get,
    programme_get_roles,
    programme_list_ids,
    programme_list_page,
    programme_role,
)
from labmatrix.matrix.selectors.series import (
    series_get,
    series_get_state,
    series_list_ids,
    series_list_of_programme,
    series_list_page,
)
from labmatrix.matrix.services.matrix_import import matrix_import
from labmatrix.matrix.services.programme import programme_create
from labmatrix.matrix.services.series import series_create
from labmatrix.matrix.shapes import (
    CellRow,
    MatrixAnswer,
    MatrixFileRequest,
    MatrixRefusal,
    ProgrammeCreateRequest,
    ProgrammeDetail,
    ProgrammeRow,
    SeriesCreateRequest,
    SeriesDetail,
    SeriesRow,
)
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from labmatrix.web.listing import PAGE_PARAMETERS, page_answer, page_of
from labmatrix.web.models import Person
from labmatrix.web.parsers import BoundedJSONParser

NO_FILE = (
    "No file came. Send it as multipart under the name `file`, or the JSON form {factors, "
    "forbidden, cells} as the body."
)


class ProgrammesView(APIView):
    """Programmes that the person is part of."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(
        operation_id="programmes_list",
        parameters=PAGE_PARAMETERS,
        responses=page_of(ProgrammeRow),
    )
    def get(self, request: Request) -> Response:
        """Pages of programmes by code."""
        actor = actor_of(request)
        read = partial(programme_list_page, actor)
        return page_answer(request, programme_list_ids(actor), read, programme_row)

    @extend_schema(
        operation_id="programmes_create",
        request=ProgrammeCreateRequest,
        responses={201: ProgrammeRow},
    )
    def post(self, request: Request) -> Response:
        """Start a programme; whoever starts it is its lead."""
        actor = actor_of(request)
        asked = ProgrammeCreateRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        programme = programme_create(actor=actor, now=now(), **asked.validated_data)
        (seen,) = programme_list_page(actor, [programme.pk])
        return Response(programme_row(seen), status=status.HTTP_201_CREATED)


class ProgrammeView(APIView):
    """One programme."""

    @extend_schema(operation_id="programmes_get", responses=ProgrammeDetail)
    def get(self, request: Request, code: str) -> Response:
        """A programme with its series and, for those who work in it, its people."""
        actor = actor_of(request)
        programme = programme_get(actor, code, Action.SEE_PROGRAMME)
        (seen,) = programme_list_page(actor, [programme.pk])
        members = (
            membership_list_of_programme(programme) if allowed(seen.role, Action.SEE_WORK) else ()
        )
        return Response(
            programme_row(seen)
            | {
                "series": [series_row(one) for one in series_list_of_programme(programme)],
                "members": [{"name": m.person.shown_name, "role": m.role} for m in members],
            }
        )


class SeriesListView(APIView):
    """Series of the programmes that the person is part of."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(
        operation_id="series_list", parameters=PAGE_PARAMETERS, responses=page_of(SeriesRow)
    )
    def get(self, request: Request) -> Response:
        """Pages of series by code."""
        return page_answer(
            request, series_list_ids(actor_of(request)), series_list_page, series_row
        )

    @extend_schema(
        operation_id="series_create",
        request=SeriesCreateRequest,
        responses={201: SeriesDetail},
    )
    def post(self, request: Request) -> Response:
        """Start a series in a programme; its factors and cells come with a matrix file."""
        actor = actor_of(request)
        asked = SeriesCreateRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        data: dict[str, Any] = asked.validated_data
        programme = programme_get(actor, data.pop("programme"), Action.PLAN_MATRIX)
        series = series_create(actor=actor, programme=programme, now=now(), **data)
        return Response(_series_detail(actor, series), status=status.HTTP_201_CREATED)


class SeriesView(APIView):
    """One series."""

    @extend_schema(operation_id="series_get", responses=SeriesDetail)
    def get(self, request: Request, code: str) -> Response:
        """A series with factors, rules, route, and remarks on its controls."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.SEE_PROGRAMME)
        return Response(_series_detail(actor, series))


class CellsView(APIView):
    """Cells of the programmes that the person is part of."""

    @extend_schema(
        operation_id="cells_list",
        parameters=[
            OpenApiParameter("series", str, description="Code of a series."),
            *PAGE_PARAMETERS,
        ],
        responses=page_of(CellRow),
    )
    def get(self, request: Request) -> Response:
        """Pages of cells by series, in the order of their making."""
        actor = actor_of(request)
        code = request.query_params.get("series")
        series = series_get(actor, code, Action.SEE_PROGRAMME) if code else None
        roles = programme_get_roles(actor)

        def shown(cell: Cell) -> dict[str, Any]:
            return cell_row(cell, roles.get(cell.series.programme_id))

        return page_answer(request, cell_list_ids(actor, series), cell_list_page, shown)


class SeriesMatrixView(APIView):
    """The matrix of a series as a file."""

    parser_classes = (MultiPartParser, BoundedJSONParser)

    @extend_schema(
        operation_id="series_matrix",
        request={
            "multipart/form-data": MatrixFileRequest,
            "application/json": {"type": "object", "additionalProperties": True},
        },
        responses={200: MatrixAnswer, 201: MatrixAnswer, 400: MatrixRefusal},
    )
    def post(self, request: Request, code: str) -> Response:
        """Add what a CSV, XLSX or JSON matrix says: all of it, or nothing.

        Columns are the factors (a unit in brackets is converted), `replicates`, and if wanted
        `code`, `gain control`, `conditioning control`, `note`. The same file again changes
        nothing; a file that says otherwise of a planned cell is refused.
        """
        actor = actor_of(request)
        series = series_get(actor, code, Action.PLAN_MATRIX)
        filename, content = _matrix_file(request)
        taken = matrix_import(
            actor=actor, series=series, filename=filename, content=content, now=now()
        )
        cells = cell_list_by_code(series, [*taken.created, *taken.unchanged])
        role = programme_role(actor, series.programme)
        return Response(
            {
                "created": len(taken.created),
                "unchanged": len(taken.unchanged),
                "cells": [cell_row(cell, role) for cell in cells],
            },
            status=status.HTTP_201_CREATED if taken.created else status.HTTP_200_OK,
        )


def _series_detail(actor: Person, series: Series) -> dict[str, Any]:
    (seen,) = series_list_page([series.pk])
    role = programme_role(actor, series.programme)
    return series_detail(seen, series_get_state(series), role)


def _matrix_file(request: Request) -> tuple[str, bytes]:
    if not (request.content_type or "").startswith("multipart/"):
        return "matrix.json", json.dumps(request.data).encode()
    uploaded = request.FILES.get("file")
    if not isinstance(uploaded, UploadedFile):
        raise ShapeError("matrix.file-missing", NO_FILE)
    check_size(uploaded.size or 0)
    return uploaded.name or "", uploaded.read()
