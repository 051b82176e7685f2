"""Persistent things of this room, one noun a file."""

from results.models.reduction import Metric, Reduction
from results.models.release import Release

__all__ = ["Metric", "Reduction", "Release"]
