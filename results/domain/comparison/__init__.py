"""Groups of specimens compared with named controls. Plain Python."""
