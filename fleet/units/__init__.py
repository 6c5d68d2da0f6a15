"""Units, their models and the newest state of each."""
