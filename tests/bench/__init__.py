"""Speed and memory beside peers, and proof that the fast answer is the right one.

``make bench`` runs every module here but the harness; each is one script. ``harness`` says how a
script is written, ``RESULTS.md`` what was measured last.
"""
