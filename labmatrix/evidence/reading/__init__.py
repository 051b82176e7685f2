"""The reading room: raw files, as loggers write them, become columns of numbers.

Works on binary streams; knows no Django, no paths and no clock. Whatever is wrong with a file is
either a warning with line numbers or a refusal with a sentence; nothing is silently dropped.
"""
