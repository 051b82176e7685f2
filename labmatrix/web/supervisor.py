"""Several processes as one: started together, ended together, none left behind.

Each child leads a process group of its own, so that its own children end with it, and the kernel
ends it when this process dies without a chance to tidy up.
"""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from types import FrameType
from typing import Any

POLL_SECONDS = 0.1
GRACE_SECONDS = 15.0
_PR_SET_PDEATHSIG = 1  # linux/prctl.h


@dataclass(frozen=True)
class Child:
    """A process that was started, under the name that people are told."""

    name: str
    process: subprocess.Popen[bytes]

    def send(self, number: signal.Signals) -> None:
        """Signal the child and all that it started; quiet when nothing is left of them."""
        try:
            os.killpg(self.process.pid, number)
        except ProcessLookupError:
            return


class Supervisor:
    """Holds the children. Ctrl-C or SIGTERM asks for the end, a second one forces it."""

    def __init__(self, say: Callable[[str], object]) -> None:
        self._say = say
        self._children: list[Child] = []
        self._libc = ctypes.CDLL(None, use_errno=True) if sys.platform == "linux" else None
        self.signals_seen = 0

    def listen(self) -> None:
        """Take SIGINT and SIGTERM from here on."""
        signal.signal(signal.SIGINT, self._note_signal)
        signal.signal(signal.SIGTERM, self._note_signal)

    def _note_signal(self, number: int, frame: FrameType | None) -> None:
        self.signals_seen += 1

    def start(
        self,
        name: str,
        command: Sequence[str],
        *,
        when_orphaned: signal.Signals = signal.SIGKILL,
        **popen: Any,
    ) -> Child:
        """Start a process; ``when_orphaned`` is what it gets if this process is killed."""
        process = subprocess.Popen(  # noqa: S603  (commands are our own)
            list(command),
            start_new_session=True,
            preexec_fn=partial(self._tie_to_parent, os.getpid(), when_orphaned),  # noqa: PLW1509
            **popen,
        )
        child = Child(name, process)
        self._children.append(child)
        return child

    def _tie_to_parent(self, parent: int, when_orphaned: signal.Signals) -> None:
        if self._libc is None:
            return
        if self._libc.prctl(_PR_SET_PDEATHSIG, int(when_orphaned), 0, 0, 0):
            raise OSError(ctypes.get_errno(), "prctl")
        if os.getppid() != parent:  # it died before the kernel was told
            os._exit(1)

    def watch(self, done: Callable[[], bool], *, may_end: Child | None = None) -> bool:
        """Wait until ``done``; False when a signal came or a child ended that should run on."""
        while not self.signals_seen:
            for child in self._children:
                code = child.process.poll()
                if code is not None and child is not may_end:
                    self._say(f"The {child.name} ended by itself (exit code {code}).")
                    return False
            if done():
                return True
            time.sleep(POLL_SECONDS)
        return False

    def run(self, name: str, command: Sequence[str]) -> bool:
        """Run a process to its end while the others are watched; True when it succeeded."""
        child = self.start(name, command)
        finished = self.watch(lambda: child.process.poll() is not None, may_end=child)
        if not finished:
            return False
        self._children.remove(child)
        child.send(signal.SIGKILL)  # whatever it left in its group
        if child.process.returncode:
            self._say(f"The {name} failed (exit code {child.process.returncode}).")
        return child.process.returncode == 0

    def stop(self) -> None:
        """End every child and all that they started: asked first, forced after a grace."""
        before, deadline = self.signals_seen, time.monotonic() + GRACE_SECONDS
        for child in self._children:
            child.send(signal.SIGTERM)
        while any(child.process.poll() is None for child in self._children):
            if time.monotonic() > deadline or self.signals_seen > before:
                break
            time.sleep(POLL_SECONDS)
        for child in self._children:
            child.send(signal.SIGKILL)
        for child in self._children:
            child.process.wait()
