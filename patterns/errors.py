"""Every mistake and failure that Evenhold reports, with the exit code it earns.

    EvenholdError               (1) base: catch this to catch all of them
    ├── RequestError            (2) what was asked cannot be: value, name, combination, place
    ├── OutputError             (1) the disk: no permission, full, read-only
    ├── EncoderError            (1) the encoder is missing, failed or was killed
    ├── InputError              (1) a file given to be read cannot be read
    ├── DeviceError             (1) a port, a browser or another device failed
    └── WorkerError             (1) a process that made a part of the work was killed

A message is one line that says what was wrong, what is allowed and what to try.
"""

from __future__ import annotations


class EvenholdError(Exception):
    """Base of all errors raised on purpose; its text is one line for a person."""

    exit_code = 1


class RequestError(EvenholdError):
    """What was asked for is not possible: a value, a name or a combination."""

    exit_code = 2


class OutputError(EvenholdError):
    """A result cannot be written where it was wanted."""


class EncoderError(EvenholdError):
    """The video encoder is missing, failed, or ended before its time."""


class InputError(EvenholdError):
    """A file that was given to be read is missing, damaged or not what it must be."""


class DeviceError(EvenholdError):
    """A network port, a browser or another device did not do its part."""


class WorkerError(EvenholdError):
    """A process that made a part of the work ended before its time."""
