"""Reductions, mechanics, comparison, and every page that mixes floors."""
