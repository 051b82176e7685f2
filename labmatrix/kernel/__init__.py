"""Units, errors, clock, canonical JSON and hashing. Plain Python; every room stands on it."""
