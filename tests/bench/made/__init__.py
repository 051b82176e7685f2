"""What the benches share: made files and the page of results. No module here is a bench."""
