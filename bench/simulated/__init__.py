"""A fixture and a board in virtual time: no evidence about a real board."""
