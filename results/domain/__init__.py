"""Plain computation: numpy arrays and frozen dataclasses, no Django, no files, no clock."""
