"""Every page as people see it: barriers, layout, clicks, first questions, queries."""
