"""What a few specimens allow one to say. Plain Python."""
