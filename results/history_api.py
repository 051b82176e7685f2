"""The API of workbooks of past years and of imported numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.selectors.programme import programme_get, programme_role
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, require
from results.selectors.history import (
    history_as_dict,
    history_get,
    imported_as_dict,
    imported_get,
    imported_list,
)
from results.selectors.imported import standing
from results.services.history import history_receive, history_take
from results.services.imported import Given, imported_correct
from specimens.selectors.access import specimen_get

NO_FILE = "The request holds no file; send one as the part named file, as multipart/form-data."
SEEN_SHAPE = (
    "seen is {seen!r}; needed is how many corrections the number had when you read it, 0 for none."
)
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


class ImportedView(APIView):
    """Imported numbers of a specimen."""

    @extend_schema(operation_id="imported_numbers", responses={200: OpenApiTypes.OBJECT})
    def get(self, request: Request, code: str) -> Response:
        """Each as it stands and as it was taken in, with its origin and its corrections."""
        specimen = specimen_get(actor=actor_of(request), code=code)
        rows = [imported_as_dict(one) for one, _ in imported_list(specimen)]
        return Response({"specimen": specimen.code, "count": len(rows), "results": rows})


class ImportedCorrectView(APIView):
    """Put an imported number right."""

    @extend_schema(
        operation_id="imported_correct",
        request=OpenApiTypes.OBJECT,
        responses={201: OpenApiTypes.OBJECT},
    )
    def post(self, request: Request, code: str, number: int) -> Response:
        """{value, unit, u?, why, seen} or {strike: true, why, seen}: what it should have been, or
        that it counts no more; ``seen`` is how many corrections it had when it was read."""
        actor = actor_of(request)
        row = imported_get(specimen_get(actor=actor, code=code), number)
        require(programme_role(actor, row.source.programme), Action.CORRECT_IMPORTED)
        body: Any = request.data if isinstance(request.data, dict) else {}
        check_storable(body, argument="the correction")
        imported_correct(
            actor=actor,
            number=row,
            given=_given(body),
            why=_text(body, "why"),
            seen=_seen(body),
            now=now(),
        )
        return Response(imported_as_dict(standing(row)), status=201)


def _text(body: Mapping[str, Any], name: str) -> str:
    value = body.get(name, "")
    if not isinstance(value, str):
        raise ShapeError(f"imported.{name}", f"{name} is {value!r}; allowed is a text.")
    return value


def _seen(body: Mapping[str, Any]) -> int:
    seen = body.get("seen")
    if not isinstance(seen, int) or isinstance(seen, bool) or seen < 0:
        raise ShapeError("imported.seen", SEEN_SHAPE.format(seen=seen))
    return seen


def _given(body: Mapping[str, Any]) -> Given | None:
    strike, value, u = body.get("strike", False), body.get("value"), body.get("u")
    if not isinstance(strike, bool):
        raise ShapeError("imported.strike", f"strike is {strike!r}; allowed are true and false.")
    if strike:
        return None
    for name, one in (("value", value), ("u", u)):
        if one is not None and (isinstance(one, bool) or not isinstance(one, int | float | str)):
            raise ShapeError(f"imported.{name}", f"{name} is {one!r}; allowed is a number.")
    return Given("" if value is None else value, _text(body, "unit"), u)
