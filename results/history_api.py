"""The API of workbooks of past years and of typed results."""

from __future__ import annotations

from uuid import UUID

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.selectors.programme import programme_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.selectors.history import history_as_dict, history_get, typed_as_dict, typed_list
from results.services.history import history_receive, history_take
from specimens.selectors.access import specimen_get

NO_FILE = "The request holds no file; send one as the part named file, as multipart/form-data."
TAKE_SHAPE = "take is {text!r}; allowed are yes and no."


class HistorySendView(APIView):
    """Workbooks of finished specimens of a programme."""

    parser_classes = (MultiPartParser,)

    @extend_schema(
        operation_id="history_send",
        request={
            "multipart/form-data": {
                "type": "object",
                "properties": {
                    "file": {"type": "string", "format": "binary"},
                    "take": {"type": "string", "enum": ["yes", "no"]},
                },
                "required": ["file"],
            }
        },
        responses={202: OpenApiTypes.OBJECT},
    )
    def post(self, request: Request, code: str) -> Response:
        """Look at a workbook; with ``take=yes`` take it in too, if nothing is wrong with it."""
        actor = actor_of(request)
        programme = programme_get(actor, code, Action.TAKE_HISTORY)
        sent = request.FILES.get("file")
        if sent is None:
            raise ShapeError("history.no-file", NO_FILE)
        take = request.POST.get("take", "no")
        if take not in ("yes", "no"):
            raise ShapeError("history.take", TAKE_SHAPE.format(text=take[:40]))
        source = history_receive(
            actor=actor,
            programme=programme,
            filename=sent.name or "",
            stream=sent.file,
            take=take == "yes",
            now=now(),
        )
        return Response(history_as_dict(source), status=202)


class HistoryImportView(APIView):
    """One workbook."""

    @extend_schema(operation_id="history_read", responses={200: OpenApiTypes.OBJECT})
    def get(self, request: Request, import_id: UUID) -> Response:
        """How far it is, what it would add, or what is wrong, row by row."""
        return Response(history_as_dict(history_get(actor=actor_of(request), import_id=import_id)))


class HistoryTakeView(APIView):
    """Take one in."""

    @extend_schema(operation_id="history_take", request=None, responses={202: OpenApiTypes.OBJECT})
    def post(self, request: Request, import_id: UUID) -> Response:
        """All of it or nothing; only one that was looked at and found sound."""
        actor = actor_of(request)
        source = history_get(actor=actor, import_id=import_id)
        history_take(actor=actor, source=source, now=now())
        return Response(history_as_dict(source), status=202)


class TypedView(APIView):
    """Typed results of a specimen."""

    @extend_schema(operation_id="typed_results", responses={200: OpenApiTypes.OBJECT})
    def get(self, request: Request, code: str) -> Response:
        """Each with its origin: typed, no raw record."""
        specimen = specimen_get(actor=actor_of(request), code=code)
        rows = [typed_as_dict(row) for row, _ in typed_list(specimen)]
        return Response({"specimen": specimen.code, "count": len(rows), "results": rows})
