"""People, the laboratory, sign-in, access, error pages and the API's common parts."""
