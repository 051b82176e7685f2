"""``manage.py demo``: load the invented Quayside programme and wait until it is reduced."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from results.domain.invented.story import Story, story
from results.services.demo import (
    demo_is_loaded,
    demo_is_predicted,
    demo_is_reduced,
    demo_load,
    demo_plan,
    demo_predict_again,
    demo_progress,
)

_PATIENCE_SECONDS = 600
_LOOK_SECONDS = 0.5


class Command(BaseCommand):
    """A worker must be running: ``manage.py up --before-web demo`` sees to it."""

    help = "Load the invented demo through the real services; a second time it changes nothing."

    def handle(self, *args: Any, **options: Any) -> None:
        """Load, then watch the worker reduce."""
        told = story()
        if demo_is_loaded(told):
            self._say("The demo is loaded already.")
            return
        try:
            demo_plan(told=told, now=now(), say=self._say)
            self._wait(told, demo_is_predicted)
            demo_load(told=told, now=now(), say=self._say)
            self._wait(told, demo_is_reduced)
            demo_predict_again(told=told, now=now(), say=self._say)
        except UserError as error:
            raise CommandError(error.message) from error
        self._wait(told, demo_is_loaded)
        count = len(told.records) + len(told.material_records)
        self._say(f"All {count} records have come to their end.")

    def _say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()

    def _wait(self, told: Story, is_done: Callable[[Story], bool]) -> None:
        begun, said = time.monotonic(), -1
        while not is_done(told):
            ended, count = demo_progress()
            if count and ended // 10 != said:
                said = ended // 10
                self._say(f"The worker has reduced {ended} of {count} records …")
            if time.monotonic() - begun > _PATIENCE_SECONDS:
                raise CommandError(
                    f"Only {ended} of {count} records were reduced in {_PATIENCE_SECONDS} s; "
                    "is a worker running?"
                )
            time.sleep(_LOOK_SECONDS)
