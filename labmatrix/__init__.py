"""Strongfloor: from open questions about strengthened members to numbers that can be traced."""
