"""Web servers as processes of their own, and clients that ask them over one connection each."""

from __future__ import annotations

import http.client
import json
import os
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from tests.bench.harness import HERE

ROOT = HERE.parents[1]
CLIENTS = 4
_STARTS_WITHIN = 90.0  # s


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def served(*command: str, port: int) -> Iterator[None]:
    """gunicorn with these arguments, from when it takes connections to the end of the block."""
    here = {"PORT": str(port), "STRONGFLOOR_PUBLIC_URL": f"http://127.0.0.1:{port}"}
    process = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", *command], cwd=ROOT, env=os.environ | here
    )
    try:
        until = time.monotonic() + _STARTS_WITHIN
        while not _listens(port):
            if process.poll() is not None or time.monotonic() > until:
                raise RuntimeError(f"the server {' '.join(command)} does not answer")
            time.sleep(0.1)
        yield
    finally:
        process.terminate()
        process.wait(timeout=30)


def _listens(port: int) -> bool:
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
        return True
    return False


@dataclass(frozen=True)
class Rate:
    """Answers a second by all clients together, and the 95th percentile of one answer, s."""

    a_second: float
    p95: float
    is_well: bool


def asked_by_four(port: int, path: str, seconds: float, headers: Mapping[str, str]) -> Rate:
    """Lets four client processes ask for one page again and again."""
    command = [
        *(sys.executable, "-m", "tests.bench.made.served"),
        *(str(port), path, str(seconds), json.dumps(dict(headers))),
    ]
    asking = [
        subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        for _ in range(CLIENTS)
    ]
    told = [json.loads(one.communicate()[0]) for one in asking]
    spent = sorted(s for one in told for s in one["spent"])
    return Rate(
        sum(len(one["spent"]) / one["seconds"] for one in told),
        statistics.quantiles(spent, n=20)[-1],
        all(one["is_well"] for one in told),
    )


class Caller:
    """One connection that stays open."""

    def __init__(self, port: int, headers: Mapping[str, str]) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=300)
        self.headers = dict(headers)

    def call(self, method: str, path: str, body: bytes | None = None) -> tuple[int, bytes]:
        """Status and body of one answer."""
        try:
            self.connection.request(method, path, body, self.headers)
            answer = self.connection.getresponse()
        except (http.client.RemoteDisconnected, BrokenPipeError, ConnectionResetError):
            self.connection.close()  # idle for too long: the server hung up
            self.connection.request(method, path, body, self.headers)
            answer = self.connection.getresponse()
        return answer.status, answer.read()


def main(port: int, path: str, seconds: float, headers: dict[str, str]) -> None:
    """One client: warm, then asks for so long; says what each answer took."""
    caller = Caller(port, headers)
    is_well = all(caller.call("GET", path)[0] == 200 for _ in range(3))
    spent: list[float] = []
    begun = time.perf_counter()
    while (now := time.perf_counter()) - begun < seconds:
        is_well &= caller.call("GET", path)[0] == 200
        spent.append(time.perf_counter() - now)
    told: dict[str, Any] = {"seconds": time.perf_counter() - begun, "spent": spent}
    print(json.dumps({**told, "is_well": is_well}))


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], float(sys.argv[3]), json.loads(sys.argv[4]))
