"""The API of lots of material and of the tests typed on them."""

from __future__ import annotations

import uuid

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.matrix.selectors.programme import programme_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from labmatrix.web.listing import page_of
from labmatrix.web.paging import Pages
from labmatrix.web.parsers import BoundedJSONParser
from specimens.lot_shapes import (
    LotChange,
    LotRequest,
    LotRow,
    StrikeRequest,
    TypedTestRequest,
    TypedTestRow,
)
from specimens.selectors.lot import lot_get, lot_list_visible, typed_test_get, typed_test_list
from specimens.services.lot import lot_add, lot_change
from specimens.services.typed_test import typed_test_add, typed_test_strike


class LotsView(APIView):
    """GET and POST /api/lots/."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(
        operation_id="lots_list",
        parameters=[OpenApiParameter("programme", str), OpenApiParameter("kind", str)],
        responses=page_of(LotRow),
    )
    def get(self, request: Request) -> Response:
        """Lots of the programmes whose work the person sees, by kind and code."""
        query = request.query_params
        lots = lot_list_visible(
            actor=actor_of(request),
            programme=query.get("programme", ""),
            kind=query.get("kind", ""),
        )
        pages = Pages()
        page = pages.paginate_queryset(lots, request, view=self)
        return pages.get_paginated_response(LotRow(page, many=True).data)

    @extend_schema(operation_id="lots_add", request=LotRequest, responses={201: LotRow})
    def post(self, request: Request) -> Response:
        """Add a lot, a batch or a heat; its code is frozen."""
        actor = actor_of(request)
        asked = LotRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        data = dict(asked.validated_data)
        programme = programme_get(actor, data.pop("programme"), Action.KEEP_MATERIALS)
        lot = lot_add(actor=actor, programme=programme, now=now(), **data)
        return Response(LotRow(lot).data, status=status.HTTP_201_CREATED)


class LotView(APIView):
    """GET and POST /api/lots/{code}/."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(operation_id="lots_get", responses=LotRow)
    def get(self, request: Request, code: str) -> Response:
        """One lot with what is specified of it."""
        return Response(LotRow(lot_get(actor=actor_of(request), code=code)).data)

    @extend_schema(operation_id="lots_change", request=LotChange, responses=LotRow)
    def post(self, request: Request, code: str) -> Response:
        """Change what is specified of it, and say why."""
        actor = actor_of(request)
        lot = lot_get(actor=actor, code=code, action=Action.KEEP_MATERIALS)
        asked = LotChange(data=request.data)
        asked.is_valid(raise_exception=True)
        data = dict(asked.validated_data)
        changed = lot_change(actor=actor, lot=lot, why=data.pop("why"), now=now(), **data)
        return Response(LotRow(changed).data)


class TypedTestsView(APIView):
    """GET and POST /api/lots/{code}/tests/."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(operation_id="typed_tests_list", responses=TypedTestRow(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Every test typed on the lot, struck ones too."""
        lot = lot_get(actor=actor_of(request), code=code)
        return Response(TypedTestRow(typed_test_list(lot).select_related("lot"), many=True).data)

    @extend_schema(
        operation_id="typed_tests_add", request=TypedTestRequest, responses={201: TypedTestRow}
    )
    def post(self, request: Request, code: str) -> Response:
        """Type what a test gave; who and when are kept with it."""
        actor = actor_of(request)
        lot = lot_get(actor=actor, code=code, action=Action.LOG_EVENT)
        asked = TypedTestRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        test = typed_test_add(actor=actor, lot=lot, now=now(), **asked.validated_data)
        return Response(TypedTestRow(test).data, status=status.HTTP_201_CREATED)


class TypedTestStrikeView(APIView):
    """POST /api/lots/{code}/tests/{id}/strike/."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(
        operation_id="typed_tests_strike", request=StrikeRequest, responses={200: TypedTestRow}
    )
    def post(self, request: Request, code: str, test_id: uuid.UUID) -> Response:
        """Take a test out of every number, and say why; it stays readable."""
        actor = actor_of(request)
        lot = lot_get(actor=actor, code=code, action=Action.LOG_EVENT)
        test = typed_test_get(lot=lot, test_id=test_id)
        asked = StrikeRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        typed_test_strike(actor=actor, test=test, why=asked.validated_data["why"], now=now())
        return Response(TypedTestRow(typed_test_get(lot=lot, test_id=test_id)).data)
