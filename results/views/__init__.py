"""Pages of this room."""
