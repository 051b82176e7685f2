"""Invented measurements: the Quayside programme, made from stated parameters and a seed.

Nothing here was measured. The mechanics is this room's own and simple, so that the reductions can
be held against a truth that they had no part in.
"""
