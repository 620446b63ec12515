"""The URL handler of the co-simulation, where pyserial looks for it by name."""
