"""Tables and figures as files to take away, with units, n, version and origin in each."""
