"""Readings that devices send: counted, slowed, and kept whole under names of our choosing."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any

from patterns.errors import EvenholdError, OutputError, RequestError
from patterns.kit.record import dump
from patterns.whole_file import make_folder, write_whole

FOLDER = "readings"
MOST_READINGS = 2000
_NAME = re.compile(r"browser-(\d{4})-.*\.json")


class TooManyError(EvenholdError):
    """A device sends faster than allowed, or the folder holds all that it may."""


@dataclass
class Pace:
    """How fast each device may post: `burst` at once, then one in `seconds`.

    Attributes
    ----------
    clock
        Seconds that only go forward.
    most_devices
        Devices remembered; the one that was quiet longest is forgotten first.
    """

    burst: int = 20
    seconds: float = 2.0
    clock: Callable[[], float] = time.monotonic
    most_devices: int = 1000
    _due: dict[str, float] = field(default_factory=dict)

    def take(self, device: str) -> None:
        """Count one post of `device`.

        Raises
        ------
        TooManyError
            It has to wait.
        """
        now = self.clock()
        due = max(self._due.pop(device, now), now)
        allowed = due - now <= (self.burst - 1) * self.seconds
        self._due[device] = due + self.seconds if allowed else due
        while len(self._due) > self.most_devices:
            del self._due[next(iter(self._due))]
        if not allowed:
            raise TooManyError("too many posts at once: wait a few seconds and send again")


class ReadingShelf:
    """The folder `readings` beside the clips.

    Parameters
    ----------
    folder
        The served folder.
    most
        Readings that it may hold.
    """

    def __init__(self, folder: Path, *, most: int = MOST_READINGS) -> None:
        self.folder, self._most, self._lock = folder / FOLDER, most, Lock()

    def names(self) -> list[str]:
        """Files of the readings kept, in order."""
        if not self.folder.is_dir():
            return []
        return sorted(p.name for p in self.folder.iterdir() if _NAME.fullmatch(p.name))

    def keep(self, reading: dict[str, Any], subject: str) -> str:
        """Write a reading whole and return its file name.

        Parameters
        ----------
        subject
            What was read, such as the clip's name; only its letters and digits are used.

        Raises
        ------
        TooManyError
            The folder holds all that it may.
        OutputError
            The disk is full or may not be written.
        """
        with self._lock:
            names = self.names()
            if len(names) >= self._most:
                raise TooManyError(f"{FOLDER} holds {len(names)} readings: move them away first")
            last = max((int(_NAME.fullmatch(n)[1]) for n in names), default=0)  # type: ignore[index]
            plain = re.sub(r"[^a-z0-9.]+", "-", subject.lower()).strip("-.")[:60]
            name = f"browser-{last + 1:04d}-{plain or 'reading'}.json"
            self._write(name, dump(reading))
            return name

    def _write(self, name: str, text: str) -> None:
        if self.folder.is_symlink():
            raise OutputError(f"{self.folder} is a link: readings are kept in a real folder")
        make_folder(self.folder)
        try:
            write_whole(self.folder / name, text, force=False)
        except RequestError as error:  # the folder went away between the two lines
            raise OutputError(str(error)) from error
