"""Every mistake and failure that Evenhold reports, with the exit code it earns.

A message is one line that says what was wrong, what is allowed and what to try.
"""

from __future__ import annotations


class EvenholdError(Exception):
    """Base of all errors raised on purpose; its text is one line for a person."""

    exit_code = 1


class RequestError(EvenholdError):
    """What was asked for is not possible: a value, a name, a combination or a place."""

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
