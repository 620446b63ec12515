"""The append-only record of one run."""
