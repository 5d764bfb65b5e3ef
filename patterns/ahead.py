"""Arrays made by a copy of this process, ahead of their use.

Until the first frame is drawn the encoder waits, and half of a machine with two processors
with it. The copy makes its share of what that frame needs meanwhile, and goes on with what
later ones need. It only helps: where there can be no copy, or it fails, the process that
asks is told to make its arrays itself, and they are the same.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from itertools import accumulate
from queue import SimpleQueue
from typing import IO, Any, NoReturn

import numpy as np
import numpy.typing as npt

__all__ = ["Ahead", "Key", "Piece", "Shared", "by_turns", "last_half"]

Arrays = list[npt.NDArray[Any]]
Key = tuple[int, ...]
Piece = tuple[Key, Arrays]

MOST_BYTES = 48_000_000  # made and not yet asked for
HEAD_BYTES = 4  # that say how long what describes a piece is
PIPE_BYTES = 1 << 20
STOPS = {signal.SIGINT, signal.SIGTERM}


def last_half(costs: Sequence[float]) -> range:
    """The last numbers, that cost about as much as the first ones.

    Neighbours have more in common: what they need is then made by one process only.
    """
    sums = list(accumulate(costs, initial=0.0))
    return range(min(range(len(sums)), key=lambda k: abs(2 * sums[k] - sums[-1])), len(costs))


def by_turns(costs: Sequence[float]) -> frozenset[int]:
    """Numbers of those that cost about as much as the others: the dearest first, by turns."""
    mine, sums = set(), [0.0, 0.0]
    for number in sorted(range(len(costs)), key=lambda k: -costs[k]):
        if sums[0] <= sums[1]:
            mine.add(number)
        sums[number not in mine] += costs[number]
    return frozenset(mine)


def _possible() -> bool:
    """Whether a copy would be sound and of use.

    A copy has one thread only: what another one held at that moment would be held for ever.
    Elsewhere than on Linux the system's own libraries do not stand being copied.
    """
    return (
        sys.platform == "linux"
        and threading.active_count() == 1
        and len(os.sched_getaffinity(0)) > 1
    )


class Shared:
    """Makes arrays by key, or has a copy of this process make its share of them.

    Parameters
    ----------
    make
        Makes the arrays of a key: the same ones in either process.
    theirs
        First numbers of the keys that are the copy's.
    """

    def __init__(self, make: Callable[[Key], Arrays], theirs: Collection[int]) -> None:
        self._make, self._theirs = make, theirs
        self.ahead: Ahead | None = None

    def begin(self, keys: Callable[[], Iterable[Key]]) -> None:
        """Start the copy, which goes through all keys that `made` will be asked for, in order."""
        self.ahead = Ahead.start(
            lambda: ((key, self._make(key)) for key in keys() if key[0] in self._theirs)
        )

    def close(self) -> None:
        """End the copy, if there is one."""
        if self.ahead is not None:
            self.ahead.close()

    def made(self, due: Iterable[Key]) -> Iterator[Piece]:
        """Arrays of some keys: those made here first, while the copy makes the others."""
        waiting = []
        for key in due:
            if self.ahead is not None and key[0] in self._theirs:
                waiting.append(key)
            else:
                yield key, self._make(key)
        for key in waiting:
            arrays = self.ahead.get(key) if self.ahead is not None else None
            yield key, self._make(key) if arrays is None else arrays


class Ahead:
    """The copy, as seen from the process that was copied.

    Parameters
    ----------
    pipe
        From which pieces come, in the order in which they were made.
    pid
        The copy's process id.

    Attributes
    ----------
    live
        Whether pieces are still to be had from it.
    """

    def __init__(self, pipe: IO[bytes], pid: int) -> None:
        self._pipe, self.pid = pipe, pid
        self.live = True

    @classmethod
    def start(cls, pieces: Callable[[], Iterable[Piece]]) -> Ahead | None:
        """Begin to make `pieces` in a copy of this process; None where that cannot be."""
        if not _possible():
            return None
        read_end, write_end = os.pipe()
        held = signal.pthread_sigmask(signal.SIG_BLOCK, STOPS)
        try:
            pid = os.fork()
            if pid == 0:
                os.close(read_end)
                _serve(write_end, pieces, held)
        except OSError:  # no memory, or too many processes
            os.close(read_end)
            return None
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, held)
            os.close(write_end)
        return cls(os.fdopen(read_end, "rb", buffering=0), pid)

    def get(self, key: Key) -> Arrays | None:
        """The next piece's arrays, which must be `key`'s; None if they are to be made here."""
        if not self.live:
            return None
        try:
            head = self._exactly(HEAD_BYTES)
            found, kinds = pickle.loads(self._exactly(int.from_bytes(head, "little")))
            if found == key:
                return [self._array(shape, kind) for shape, kind in kinds]
        except (OSError, EOFError):
            pass  # it has ended before its time
        self.close()
        return None

    def close(self) -> None:
        """End the copy, whatever it is doing."""
        if not self.live:
            return
        self.live = False
        self._pipe.close()
        with contextlib.suppress(ProcessLookupError, ChildProcessError):
            os.kill(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)

    def _array(self, shape: tuple[int, ...], kind: str) -> npt.NDArray[Any]:
        array = np.empty(shape, kind)
        self._fill(array.reshape(-1).view(np.uint8).data)
        return array

    def _exactly(self, count: int) -> bytes:
        taken = bytearray(count)
        self._fill(memoryview(taken))
        return bytes(taken)

    def _fill(self, rest: memoryview) -> None:
        while rest:
            count = self._pipe.readinto(rest)  # type: ignore[attr-defined]
            if not count:
                raise EOFError
            rest = rest[count:]


class _Sender:
    """Thread of the copy that hands over what is made, so that making goes on meanwhile."""

    def __init__(self, pipe: IO[bytes]) -> None:
        self._pipe = pipe
        self._waiting: SimpleQueue[list[memoryview] | None] = SimpleQueue()
        self._room = threading.Condition()
        self._bytes = 0
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def put(self, piece: Piece) -> None:
        """Queue a piece; waits while too much is waiting."""
        key, arrays = piece
        kinds = [(array.shape, array.dtype.str) for array in arrays]
        head = pickle.dumps((key, kinds))
        flat = [np.ascontiguousarray(a).reshape(-1).view(np.uint8).data for a in arrays]
        size = sum(map(len, flat))
        with self._room:
            self._room.wait_for(lambda: self._bytes < MOST_BYTES)
            self._bytes += size
        length = len(head).to_bytes(HEAD_BYTES, "little")
        self._waiting.put([memoryview(length + head), *flat])

    def finish(self) -> None:
        """Return when all has been taken."""
        self._waiting.put(None)
        self._thread.join()

    def _run(self) -> None:
        try:
            while (parts := self._waiting.get()) is not None:
                for part in parts:
                    self._push(part)
                with self._room:
                    self._bytes -= sum(map(len, parts[1:]))
                    self._room.notify()
        except OSError:  # nobody listens any more
            os._exit(1)

    def _push(self, rest: memoryview) -> None:
        while rest:
            rest = rest[self._pipe.write(rest) :]


def _serve(
    write_end: int, pieces: Callable[[], Iterable[Piece]], held: set[int | signal.Signals]
) -> NoReturn:
    """What the copy does instead of anything that this process was about to do."""
    code = 1
    try:
        # Who was copied decides about Ctrl-C, and ends this process or its pipe.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, held)
        # Whoever reads what this program prints must not wait for its copy to end.
        nowhere = os.open(os.devnull, os.O_RDWR)
        for number in (0, 1, 2):
            os.dup2(nowhere, number)
        with contextlib.suppress(OSError):
            import fcntl

            fcntl.fcntl(write_end, fcntl.F_SETPIPE_SZ, PIPE_BYTES)
        sender = _Sender(os.fdopen(write_end, "wb", buffering=0))
        try:
            for piece in pieces():
                sender.put(piece)
            code = 0
        finally:
            sender.finish()
    finally:
        os._exit(code)
