"""A reference board as firmware: portable C, a host port, an AVR port, and the table that makes it one profile's board."""
