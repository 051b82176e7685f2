"""The event catalogue, the order of events, and their fold. Plain Python."""
