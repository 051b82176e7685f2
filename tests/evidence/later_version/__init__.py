"""A later version of the product, with one more migration, for the tests of restore."""
