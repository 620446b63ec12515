"""The message layer of SCPI-1999 / IEEE 488.2, sans I/O: bytes in, messages out, both roles."""
