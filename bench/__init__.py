"""Bench tester for refrigerant leak-mitigation control boards."""

__version__ = "0.1.0"
