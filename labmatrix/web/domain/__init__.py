"""Plain rules of this room."""
