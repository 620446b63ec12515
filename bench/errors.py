"""What can go wrong, and who has to act.

MitbenchError            one clear sentence for a person; never shown as a traceback
├── UsageError           the command line                               exit 2
├── ProfileError         a profile                                      exit 2
├── ProcedureError       a procedure                                    exit 2
├── TraceError           a stored trace or record                       exit 2
├── BenchFault           fixture, wiring, port, source: never the board exit 4
└── Stopped              the person ended the run                       exit 130
"""

from __future__ import annotations


class MitbenchError(Exception):
    """Base of all errors a person is told about; `str()` is the sentence to print."""

    exit_code = 2


class UsageError(MitbenchError):
    """The command line asks for something that does not exist or does not fit together."""


class ProfileError(MitbenchError):
    """A profile cannot be used; the message has one line for each mistake."""


class ProcedureError(MitbenchError):
    """A procedure cannot be read, or does not fit the profile or the fixture."""


class TraceError(MitbenchError):
    """A trace is damaged, incomplete or not ours."""


class BenchFault(MitbenchError):
    """The bench did not do what it was told, or cannot be trusted any more."""

    exit_code = 4


class Stopped(MitbenchError):
    """The person ended the run."""

    exit_code = 130
