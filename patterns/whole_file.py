"""A file that is either whole, under its final name, or not there.

While it is made it has a hidden name, `.NAME.part-PID`, in the same folder, and is
locked. The lock goes with the process that holds it, whatever ends that, so that the
next run can tell what was left behind by one that was killed, and removes it.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import sys
from pathlib import Path

from patterns.errors import EvenholdError, OutputError, RequestError

if sys.platform != "win32":
    import fcntl

__all__ = ["PartialFile", "make_folder", "write_whole"]

_STALE = re.compile(r"\..+\.part-\d+(-\d+)?")


class PartialFile:
    """Place for a file in the making.

    Parameters
    ----------
    target
        Final name.
    force
        Whether a file of that name may be replaced.

    Raises
    ------
    RequestError
        The folder is missing, or the file exists and may not be replaced.
    OutputError
        The folder is not writable, or the disk failed.
    """

    def __init__(self, target: Path, *, force: bool) -> None:
        self.target = target
        self.force = force
        try:
            self._refuse_existing()
            _sweep(target.parent)
            self.path, self._handle = _reserve(target)
        except OSError as error:
            raise _output_error(error, target) from error

    def publish(self) -> None:
        """Give the file its final name, after its bytes have reached the disk.

        Raises
        ------
        OutputError
            A file of that name has appeared meanwhile, or the disk failed.
        """
        try:
            os.fsync(self._handle)
            self._rename()
            _sync_folder(self.target.parent)
        except FileExistsError as error:
            raise self._exists() from error
        except OSError as error:
            raise _output_error(error, self.target) from error
        finally:
            self.discard()

    def discard(self) -> None:
        """Remove what is left under the hidden name; harmless when repeated."""
        handle, self._handle = self._handle, -1
        if handle >= 0:
            os.close(handle)
            with contextlib.suppress(OSError):
                self.path.unlink()

    def _rename(self) -> None:
        if self.force:
            self.path.replace(self.target)
            return
        try:
            # unlike a rename, a link never replaces what is there
            os.link(self.path, self.target)
        except FileExistsError:
            raise
        except OSError:  # a file system without links
            self._refuse_existing()
            self.path.rename(self.target)

    def _refuse_existing(self) -> None:
        if self.target.is_dir():
            raise RequestError(f"{self.target} is a folder: give the name of a file in it")
        if not self.force and os.path.lexists(self.target):
            raise self._exists()

    def _exists(self) -> RequestError:
        return RequestError(f"{self.target} exists: give --force to replace it, or another name")


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, unless it is there.

    Raises
    ------
    OutputError
        The disk refuses it.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"folder {folder} cannot be made: {error.strerror}") from error


def write_whole(path: Path, data: bytes | str, *, force: bool) -> None:
    """Write a file whole under its final name, or not at all; text becomes UTF-8.

    Raises
    ------
    RequestError
        The folder is missing, or the file exists and `force` is false.
    OutputError
        The folder is not writable, or the disk failed.
    """
    partial = PartialFile(path, force=force)
    try:
        partial.path.write_bytes(data.encode() if isinstance(data, str) else data)
        partial.publish()
    except OSError as error:
        raise _output_error(error, path) from error
    finally:
        partial.discard()


def _reserve(target: Path) -> tuple[Path, int]:
    for turn in range(1000):
        path = target.with_name(f".{target.name}.part-{os.getpid()}{f'-{turn}' if turn else ''}")
        try:
            handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o666)
        except FileExistsError:
            continue
        if _lock(handle) and path.exists():  # else swept between the two calls
            return path, handle
        os.close(handle)
    raise OutputError(f"no temporary name is free beside {target}: remove its .part files")


def _lock(handle: int) -> bool:
    """Lock without waiting; False if another process has it."""
    if sys.platform == "win32":
        return True  # an open file cannot be deleted there, which serves as the lock
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
    handle = os.open(stale, os.O_RDWR)
    try:
        if sys.platform != "win32":
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)  # raises while its maker lives
            stale.unlink()
    finally:
        os.close(handle)
    if sys.platform == "win32":
        stale.unlink()  # raises while its maker has it open


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):  # not every system can open or sync a folder
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _output_error(error: OSError, target: Path) -> EvenholdError:
    """What was asked wrongly, or how the disk failed."""
    folder = target.parent
    asked = {
        errno.ENOENT: f"folder {folder} does not exist: make it first, or write elsewhere",
        errno.ENOTDIR: f"{folder} is not a folder: write elsewhere",
        errno.ENAMETOOLONG: f"the name {target.name[:40]}... is too long: take a shorter one",
    }
    if error.errno in asked:
        return RequestError(asked[error.errno])
    known = {
        errno.EACCES: f"folder {folder} is not writable: write elsewhere, or change its rights",
        errno.EPERM: f"folder {folder} is not writable: write elsewhere, or change its rights",
        errno.EROFS: f"folder {folder} is on a read-only disk: write elsewhere",
        errno.ENOSPC: f"the disk that holds {folder} is full: free some space, or write elsewhere",
        errno.EDQUOT: f"your quota on {folder} is used up: free some space, or write elsewhere",
    }
    text = known.get(error.errno or 0, f"{target} cannot be written: {error.strerror or error}")
    return OutputError(text)
