"""Persistent things of this room, one noun a file."""

from results.models.reduction import Metric, Reduction

__all__ = ["Metric", "Reduction"]
