"""Answer with one page of a list: ids are cut first, rows are read for that page only."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from labmatrix.web.paging import Pages

Key = TypeVar("Key")
Row = TypeVar("Row")

PAGE_PARAMETERS = [
    OpenApiParameter("page", int, description="Number of the page, from 1."),
    OpenApiParameter("page_size", int, description="Rows on a page, 100 unless asked, to 1 000."),
]


def page_of(shape: type[serializers.Serializer[Any]]) -> serializers.Serializer[Any]:
    """The shape {count, next, previous, results} for the OpenAPI document."""
    return inline_serializer(
        name=f"{shape.__name__}Page",
        fields={
            "count": serializers.IntegerField(),
            "next": serializers.URLField(allow_null=True),
            "previous": serializers.URLField(allow_null=True),
            "results": shape(many=True),
        },
    )


def page_answer(
    request: Request,
    ids: QuerySet[Any, Key],
    read: Callable[[Sequence[Key]], Iterable[Row]],
    shown: Callable[[Row], dict[str, Any]],
) -> Response:
    """One page of a list.

    Args:
        request: with ``page`` and ``page_size`` in its query.
        ids: of all rows, in order; only a page of it is read.
        read: the rows of some ids, in their order.
        shown: a row as the API shows it.
    """
    pages = Pages()
    cut = pages.paginate_queryset(ids, request)
    return pages.get_paginated_response([shown(row) for row in read(list(cut or ()))])
