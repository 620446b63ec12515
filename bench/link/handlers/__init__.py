"""Our URL handler, where pyserial looks for it by name."""
