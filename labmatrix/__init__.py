"""Strongfloor: from open questions about strengthened members to numbers that can be traced."""

__version__ = "0.1.0"
