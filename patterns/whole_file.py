"""A file that is either whole, under its final name, or not there.

While it is made it has a hidden name, `.NAME.part-PID`, in the same folder, and is
locked. The lock goes with the process that holds it, whatever ends that, so that the
next run can tell what was left behind by one that was killed, and removes it.

On Windows the lock is that an open file cannot be removed. It cannot be renamed either,
so the lock ends just before the file gets its name; until then its time says that it is new.
"""

from __future__ import annotations

import atexit
import contextlib
import errno
import os
import re
import sys
import time
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import IO

from patterns.errors import EvenholdError, OutputError, RequestError

if sys.platform != "win32":
    import fcntl

_UNFINISHED: set[Path] = set()
_STALE = re.compile(r"\..+\.part-\d+(-\d+)?")
_WINDOWS = os.name == "nt"  # where open files can be neither removed nor renamed nor replaced
_PATIENCE_S = 1.0  # for a program that has a file open only for a moment, as virus scanners do
_NEW_S = 60.0  # a hidden file of this age may be about to get its name, though nobody has it open


class PartialFile:
    """Place for a file in the making.

    `force`: whether a file of that name may be replaced.
    Raises `RequestError`: the folder is missing, or the file exists and may not be replaced.
    Raises `OutputError`: the folder is not writable, or the disk failed.
    """

    def __init__(self, target: Path, *, force: bool) -> None:
        self.target = target
        self.force = force
        try:
            if target.is_dir():
                raise RequestError(f"{target} is a folder: give the name of a file in it")
            if not force and os.path.lexists(target):
                raise self._exists()
            _sweep(target.parent)
            self.path, self._handle = _reserve(target)
            self._made = True
        except OSError as error:
            raise _output_error(error, target) from error

    def publish(self) -> None:
        """Give the file its final name, after its bytes have reached the disk.

        Raises `RequestError`: a file of that name has appeared meanwhile.
        Raises `OutputError`: another program has the file open, or the disk failed.
        """
        try:
            os.fsync(self._handle.fileno())
            if _WINDOWS:
                os.utime(self.path)
                self._handle.close()
            self._rename()
            _sync_folder(self.target.parent)
        except FileExistsError as error:
            raise self._exists() from error
        except OSError as error:
            raise _publish_error(error, self.target) from error
        finally:
            self.discard()

    def discard(self) -> None:
        """Remove what is left under the hidden name; harmless when repeated."""
        self._handle.close()
        if self._made:
            self._made = False
            with contextlib.suppress(OSError):
                _patiently(self.path.unlink)
        _UNFINISHED.discard(self.path)

    def _rename(self) -> None:
        if self.force:
            _patiently(lambda: self.path.replace(self.target))
        elif _WINDOWS:
            _patiently(lambda: self.path.rename(self.target))  # replaces nothing there
        else:
            self._rename_to_free_name()

    def _rename_to_free_name(self) -> None:
        """Unlike a rename, a link never replaces what is there."""
        try:
            os.link(self.path, self.target)
        except FileExistsError:
            raise
        except OSError:  # a file system without links, such as those of cards and sticks
            # Only one can make the empty file, and so only its maker replaces it.
            os.close(os.open(self.target, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            try:
                self.path.replace(self.target)
            except BaseException:
                self.target.unlink()
                raise

    def _exists(self) -> RequestError:
        return RequestError(f"{self.target} exists: give --force to replace it, or another name")


class Claims:
    """Which source each file that a run is to write comes from: none takes another's place."""

    def __init__(self) -> None:
        self._sources: dict[tuple[Path, str], Path] = {}

    def claim(self, target: Path, source: Path) -> Path:
        """Keep `target` for what is made of `source`, and return it.

        Names that differ in capitals or in how letters are composed alone are one, as on many
        disks. Raises `RequestError`: it is kept for another source.
        """
        name = unicodedata.normalize("NFC", target.name.casefold())
        first = self._sources.setdefault((target.parent, name), source)
        if first != source:
            raise RequestError(
                f"{first} and {source} would both be written to {target}: give one at a time"
            )
        return target


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, unless it is there; `OutputError`: the disk refuses."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"folder {folder} cannot be made: {error.strerror}") from error


def write_whole(path: Path, data: bytes | str, *, force: bool) -> None:
    """Write a file whole under its final name, or not at all; text becomes UTF-8.

    Raises `RequestError`: the folder is missing, or the file exists and `force` is false.
    Raises `OutputError`: the folder is not writable, another program has the file open, or the disk
    failed.
    """
    partial = PartialFile(path, force=force)
    try:
        # undecodable bytes of a file's name become what they were
        whole = data.encode("utf-8", "surrogateescape") if isinstance(data, str) else data
        partial.path.write_bytes(whole)
        partial.publish()
    except OSError as error:
        raise _output_error(error, path) from error
    finally:
        partial.discard()


def _reserve(target: Path) -> tuple[Path, IO[bytes]]:
    for turn in range(1000):
        path = target.with_name(f".{target.name}.part-{os.getpid()}{f'-{turn}' if turn else ''}")
        _UNFINISHED.add(path)
        try:
            # An object, which is closed with its last name: where Ctrl-C falls between here and
            # there, Windows could not remove a file that is still open.
            handle = path.open("x+b", buffering=0)
        except FileExistsError:
            continue
        if _lock(handle) and path.exists():  # else swept between the two calls
            return path, handle
        handle.close()
    raise OutputError(f"no temporary name is free beside {target}: remove its .part files")


@atexit.register
def _discard_unfinished() -> None:
    """Remove what Ctrl-C left between the making of a file and our knowing of it."""
    for path in _UNFINISHED:
        with contextlib.suppress(OSError):
            path.unlink()


def _lock(handle: IO[bytes]) -> bool:
    """Lock without waiting; False if another process has it."""
    if sys.platform != "win32":
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            # A drive without locks: go on, and let _sweep find nothing that it may remove.
            return error.errno not in (errno.EWOULDBLOCK, errno.EAGAIN)
    return True


def _sweep(folder: Path) -> None:
    """Remove what killed runs have left in `folder`."""
    for stale in sorted(folder.glob(".*.part-*")):
        if _STALE.fullmatch(stale.name):
            with contextlib.suppress(OSError):
                _remove_unlocked(stale)


def _remove_unlocked(stale: Path) -> None:
    if sys.platform != "win32":
        with stale.open("r+b") as handle:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)  # raises while its maker lives
            stale.unlink()
    elif time.time() - stale.stat().st_mtime > _NEW_S:
        stale.unlink()  # raises while its maker has it open


def _patiently(act: Callable[[], object]) -> None:
    """Do it again for a while where another program's open file is in the way (Windows)."""
    end_s = time.monotonic() + _PATIENCE_S
    while True:
        try:
            act()
        except PermissionError:
            if not _WINDOWS or time.monotonic() > end_s:
                raise
            time.sleep(0.05)
        else:
            return


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):  # not every system can open or sync a folder
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _publish_error(error: OSError, target: Path) -> EvenholdError:
    """Why a file that could be made cannot have its name."""
    if _WINDOWS and isinstance(error, PermissionError):
        if target.exists() and not os.access(target, os.W_OK):
            return OutputError(f"{target} is write-protected: change that, or give another name")
        return OutputError(
            f"another program has {target} open (a player, a virus scanner): close it there, "
            f"or give another name"
        )
    return _output_error(error, target)


def _output_error(error: OSError, target: Path) -> EvenholdError:
    """What was asked wrongly, or how the disk failed."""
    folder = target.parent
    asked = {
        errno.ENOENT: f"folder {folder} does not exist: make it first, or write elsewhere",
        errno.ENOTDIR: f"{folder} is not a folder: write elsewhere",
        errno.ENAMETOOLONG: f"the name {target.name[:40]}... is too long: take a shorter one",
    }
    if _WINDOWS:
        asked[errno.EINVAL] = f'{target.name} has a character that file names may not have: <>:"|?*'
    code = error.errno or 0
    if code == errno.ENOENT and folder.exists():  # Windows has no other number for these
        code = errno.ENAMETOOLONG if folder.is_dir() else errno.ENOTDIR
    if code in asked:
        return RequestError(asked[code])
    known = {
        errno.EACCES: f"folder {folder} is not writable: write elsewhere, or change its rights",
        errno.EPERM: f"folder {folder} is not writable: write elsewhere, or change its rights",
        errno.EROFS: f"folder {folder} is on a read-only disk: write elsewhere",
        errno.ENOSPC: f"the disk that holds {folder} is full: free some space, or write elsewhere",
        errno.EDQUOT: f"your quota on {folder} is used up: free some space, or write elsewhere",
    }
    text = known.get(code, f"{target} cannot be written: {error.strerror or error}")
    return OutputError(text)
