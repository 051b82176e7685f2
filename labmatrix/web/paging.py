"""Lists are pages."""

from __future__ import annotations

from rest_framework.pagination import PageNumberPagination


class Pages(PageNumberPagination):
    """{count, next, previous, results}, 100 a page, at most 1 000 on request."""

    page_size = 100
    page_size_query_param = "page_size"
    max_page_size = 1000
