"""Bytes to and from a port; what they mean is no business of this room."""
