"""A script that talks to an installation over HTTP and asks again when nobody answers."""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Mapping
from typing import Any

PATIENCE_SECONDS = 90.0


class Caller:
    """Signed in by token; every request is repeated until it is answered."""

    def __init__(
        self, port: int, username: str, password: str, headers: Mapping[str, str] | None = None
    ) -> None:
        self.root = f"http://127.0.0.1:{port}/api/"
        self.headers = headers or {}
        self.token = ""
        answer = self.send("token/", {"username": username, "password": password})
        self.token = answer["token"]

    def get(self, path: str) -> Any:
        """The JSON of a GET."""
        return self._until_answered(urllib.request.Request(self.root + path))

    def text(self, path: str) -> str:
        """The text of a GET."""
        request = urllib.request.Request(self.root + path)
        return str(self._until_answered(request, as_json=False))

    def send(self, path: str, body: Any) -> Any:
        """The JSON answer to a JSON POST."""
        data = json.dumps(body).encode()
        request = urllib.request.Request(
            self.root + path, data=data, headers={"Content-Type": "application/json"}
        )
        return self._until_answered(request)

    def upload(self, path: str, fields: dict[str, str], files: dict[str, bytes]) -> Any:
        """The JSON answer to a multipart POST; every file goes under the part ``file``."""
        boundary = uuid.uuid4().hex
        parts = []
        for name, value in fields.items():
            parts.append(f'Content-Disposition: form-data; name="{name}"\r\n\r\n{value}'.encode())
        for name, content in files.items():
            head = f'Content-Disposition: form-data; name="file"; filename="{name}"\r\n'
            parts.append(head.encode() + b"Content-Type: text/csv\r\n\r\n" + content)
        body = b"".join(b"--" + boundary.encode() + b"\r\n" + p + b"\r\n" for p in parts)
        request = urllib.request.Request(
            self.root + path,
            data=body + f"--{boundary}--\r\n".encode(),
            headers={"Content-Type": f"multipart/form-data; boundary={boundary}"},
        )
        return self._until_answered(request)

    def _until_answered(self, request: urllib.request.Request, *, as_json: bool = True) -> Any:
        if self.token:
            request.add_header("Authorization", f"Token {self.token}")
        for name, value in self.headers.items():
            request.add_header(name, value)
        deadline = time.monotonic() + PATIENCE_SECONDS
        while True:
            try:
                with urllib.request.urlopen(request, timeout=20) as answer:
                    text = answer.read().decode()
                    return json.loads(text) if as_json else text
            except urllib.error.HTTPError as error:
                raise AssertionError(f"{error.code} {error.read().decode()}") from error
            except (OSError, EOFError, ValueError):
                # The server was killed in mid-answer: a script asks again.
                assert time.monotonic() < deadline, f"nobody answers at {request.full_url}"
                time.sleep(0.1)
