"""Both firmware images in one simulated circuit, tested by the command itself.  See README.md here."""
