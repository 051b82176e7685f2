"""Years of finished specimens, from a workbook to facts."""
