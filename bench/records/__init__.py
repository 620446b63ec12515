"""Results of many runs."""
