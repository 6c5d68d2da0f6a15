"""Code books: what a unit model's codes mean. Imported by the fleet in versions; none is shipped."""
