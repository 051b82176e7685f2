"""Specimens, their events and what follows from them."""
