"""An installation of its own for a test: real processes, real files, found by its home folder."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path

from django.conf import settings

ROOT = Path(settings.BASE_DIR)
PATIENCE_SECONDS = 60.0


def free_port() -> int:
    """A port of the loopback interface that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(what: Callable[[], bool], words: str, seconds: float = PATIENCE_SECONDS) -> None:
    """Wait until something is so; fails with the words when it does not come to be."""
    deadline = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < deadline, f"not within {seconds:.0f} s: {words}"
        time.sleep(0.05)


class Installation:
    """A home folder, its environment, and the processes that were started in it."""

    def __init__(self, home: Path, **environment: str) -> None:
        self.home = home
        self.port = free_port()
        inherited = {k: v for k, v in os.environ.items() if not k.startswith("STRONGFLOOR_")}
        self.environment = {
            **inherited,
            "DJANGO_SETTINGS_MODULE": "labmatrix.settings",
            "STRONGFLOOR_HOME": str(home),
            "PORT": str(self.port),
            **environment,
        }
        self.log = home.with_name(f"{home.name}.log")
        self._started: list[subprocess.Popen[bytes]] = []

    def manage(self, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
        """Run a management command to its end."""
        return subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=ROOT,
            env={**self.environment, **environment},
            capture_output=True,
            text=True,
            timeout=PATIENCE_SECONDS * 2,
            check=False,
        )

    def migrate(self) -> None:
        """Make the tables."""
        done = self.manage("migrate", "--verbosity", "0")
        assert done.returncode == 0, done.stderr

    def start(self, *command: str) -> subprocess.Popen[bytes]:
        """Start a process of this installation; what it says goes to the log, ``end`` ends it."""
        with self.log.open("ab") as log:
            process = subprocess.Popen(
                command,
                cwd=ROOT,
                env=self.environment,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        self._started.append(process)
        return process

    def said(self) -> str:
        """What the started processes have written so far."""
        return self.log.read_text(encoding="utf-8") if self.log.exists() else ""

    def up(self, *options: str, seconds: float = PATIENCE_SECONDS) -> subprocess.Popen[bytes]:
        """Start everything, and wait until it says that it runs."""
        before = self.said().count("Ctrl-C ends")
        process = self.start(sys.executable, "manage.py", "up", *options)
        wait_for(
            lambda: self.said().count("Ctrl-C ends") > before or process.poll() is not None,
            "up runs",
            seconds,
        )
        assert process.poll() is None, self.said()
        return process

    def get(self, path: str) -> int:
        """The status of a page; 0 when nobody listens."""
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=5) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code
        except OSError:
            return 0

    def processes(self) -> dict[int, str]:
        """Every living process of this installation, {pid: command line}."""
        mine = f"STRONGFLOOR_HOME={self.home}".encode()
        found = {}
        for folder in Path("/proc").glob("[0-9]*"):
            try:
                if mine in (folder / "environ").read_bytes().split(b"\0"):
                    words = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()
                    if words:
                        found[int(folder.name)] = words
            except (FileNotFoundError, ProcessLookupError, PermissionError):
                continue  # it has just ended
        return found

    def pids(self, part: str) -> list[int]:
        """The processes whose command line has this in it."""
        return sorted(pid for pid, words in self.processes().items() if part in words)

    def end(self) -> None:
        """End all that is left of this installation; by its own pids only."""
        for pid in self.processes():
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        for process in self._started:
            process.wait()
