"""Fill an installation of its own with the standing cast: ``python -m tests.journeys.stage``."""

from __future__ import annotations

import sys

import django


def main(beams: int) -> None:
    """People, programme, cells and as many cast beams; prints the beams' codes."""
    django.setup()
    from tests.results.scene import scene

    cast = scene()
    for index in range(beams):
        cell = sorted(cast.cells)[index % len(cast.cells)]
        print(cast.specimen(cell).code)


if __name__ == "__main__":
    main(int(sys.argv[1]))
