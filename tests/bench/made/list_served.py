"""The list of specimens behind gunicorn, beside a trivial view; run as a process of its own."""

from __future__ import annotations

import sys
from typing import Any

import django

from tests.bench.harness import say
from tests.bench.made.served import asked_by_four, free_port, served

ASKED = {"list": "/specimens/", "api": "/api/specimens/"}


def session_cookie(username: str) -> str:
    """The cookie of somebody who is signed in."""
    from django.db import connections
    from django.test import Client

    from labmatrix.web.models import Person

    client = Client()
    client.force_login(Person.objects.get(username=username))
    connections.close_all()
    return f"sessionid={client.cookies['sessionid'].value}"


def main(seconds: float, repeats: int) -> None:
    """Says the best rate of each, and its 95th percentile."""
    django.setup()
    headers = {"Cookie": session_cookie("lead")}
    nothing, product = free_port(), free_port()
    told: dict[str, list[Any]] = {"trivial": [], **{name: [] for name in ASKED}}
    with (
        served("-c", "tests/bench/made/trivial_server.py", "tests.bench.made.trivial_server",
               port=nothing),
        served("labmatrix.wsgi:application", port=product),
    ):  # fmt: skip
        for _ in range(repeats):
            told["trivial"].append(asked_by_four(nothing, "/", seconds, {}))
            for name, path in ASKED.items():
                told[name].append(asked_by_four(product, path, seconds, headers))
    say(
        {
            name: {
                "rates": [one.a_second for one in rates],
                "p95": min(one.p95 for one in rates),
                "is_well": all(one.is_well for one in rates),
            }
            for name, rates in told.items()
        }
    )


if __name__ == "__main__":
    main(float(sys.argv[1]), int(sys.argv[2]))
