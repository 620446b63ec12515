"""One check by ngspice for every row of hardware/schematic/claims.csv: (least, most), over the corners that matter.

The circuits are the sheets of the schematic with the values of values.csv;
only sources and loads are added here.
"""

from tests.hardware.papers.checks import bus, contacts, inputs, signals, switches
from tests.hardware.papers.checks.base import CHECKS, VALUES

__all__ = ["CHECKS", "VALUES", "bus", "contacts", "inputs", "signals", "switches"]
