"""Records that last."""
