#!/usr/bin/env python
"""Strongfloor's command line."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Run a management command."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labmatrix.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError as error:
        raise SystemExit(
            "Django is not installed here. `make demo` or `make environment` sets everything up."
        ) from error
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
