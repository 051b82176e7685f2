"""The API of events."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, PolymorphicProxySerializer, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.web.actor import actor_of
from labmatrix.web.listing import PAGE_PARAMETERS, page_answer, page_of
from labmatrix.web.parsers import BoundedJSONParser
from specimens.domain.catalogue import CATALOGUE
from specimens.domain.entry import payload_schema
from specimens.models import Event
from specimens.presenters import event_row
from specimens.selectors.event import (
    Standing,
    event_list_ids,
    event_list_page,
    event_standings_of,
)
from specimens.services.event import events_receive
from specimens.services.event_parse import instant_parse
from specimens.shapes import EventAnswer, EventRow, EventSent

NO_EVENTS = "The body is {found}; allowed is one event as an object, or a list of events."
_CLOCK = OpenApiParameter(
    "Device-Clock",
    OpenApiTypes.DATETIME,
    OpenApiParameter.HEADER,
    description="The device's clock when it sends; the skew is measured from it.",
)


class EventsView(APIView):
    """Events of specimens, locations and machines."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(
        operation_id="events_list",
        parameters=[
            OpenApiParameter("subject", str, description="Code of a specimen or machine."),
            OpenApiParameter("kind", str, description="A kind of the catalogue."),
            *PAGE_PARAMETERS,
        ],
        responses=page_of(EventRow),
    )
    def get(self, request: Request) -> Response:
        """Pages of events in the order of their arrival, each with what became of it."""
        ids = event_list_ids(
            actor=actor_of(request),
            subject=request.query_params.get("subject", ""),
            kind=request.query_params.get("kind", ""),
        )
        standings: dict[str, Standing] = {}

        def read(keys: Any) -> list[Event]:
            events = event_list_page(keys)
            standings.update(event_standings_of(events))
            return events

        usual = Standing()
        return page_answer(
            request, ids, read, lambda event: event_row(event, standings.get(str(event.pk), usual))
        )

    @extend_schema(
        operation_id="events_send",
        parameters=[_CLOCK],
        request=PolymorphicProxySerializer(
            component_name="EventsSent",
            serializers=[EventSent, EventSent(many=True)],
            resource_type_field_name=None,
            many=False,
        ),
        responses=EventAnswer(many=True),
    )
    def post(self, request: Request) -> Response:
        """Admit one event or a list; answers in the order sent."""
        received_at = now()
        clock = request.headers.get("Device-Clock")
        sent = request.data
        if not isinstance(sent, dict | list):
            raise ShapeError("event.batch", NO_EVENTS.format(found=type(sent).__name__))
        answers = events_receive(
            actor=actor_of(request),
            raws=sent if isinstance(sent, list) else [sent],
            now=received_at,
            device_clock=instant_parse(clock, "Device-Clock") if clock else None,
        )
        return Response([answer.as_dict() for answer in answers])


class EventSchemaView(APIView):
    """The catalogue of events."""

    @extend_schema(operation_id="events_schema", responses={200: OpenApiTypes.OBJECT})
    def get(self, request: Request | HttpRequest) -> Response:
        """JSON Schema of the payload of each kind."""
        return Response({kind: payload_schema(kind) for kind in CATALOGUE})
