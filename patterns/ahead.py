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
from pathlib import Path
from queue import SimpleQueue
from typing import IO, Any, NoReturn

import numpy as np
import numpy.typing as npt

from patterns.pipe import push, widen

__all__ = ["Ahead", "Key", "Piece", "Shared", "by_turns", "last_half"]

Arrays = list[npt.NDArray[Any]]
Key = tuple[int, ...]
Piece = tuple[Key, Arrays]

MOST_BYTES = 48_000_000  # made and not yet asked for
HEAD_BYTES = 4  # that say how long what describes a piece is
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

    A copy has one thread only: what another one (the matrix library's, say) held at that
    moment would be held for ever. Elsewhere than on Linux the system's own libraries do not
    stand being copied.
    """
    return (
        sys.platform == "linux"
        and len(list(Path("/proc/self/task").iterdir())) == 1
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
        self.ahead = Ahead()

    def begin(self, keys: Callable[[], Iterable[Key]]) -> None:
        """Start the copy, which goes through all keys that `made` will be asked for, in order."""
        self.ahead.start(
            lambda: ((key, self._make(key)) for key in keys() if key[0] in self._theirs)
        )

    def close(self) -> None:
        """End the copy, if there is one."""
        self.ahead.close()

    def made(self, due: Iterable[Key]) -> Iterator[Piece]:
        """Arrays of some keys: those made here first, while the copy makes the others."""
        waiting = []
        for key in due:
            if self.ahead.live and key[0] in self._theirs:
                waiting.append(key)
            else:
                yield key, self._make(key)
        for key in waiting:
            arrays = self.ahead.get(key)
            yield key, self._make(key) if arrays is None else arrays


class Ahead:
    """A copy of this process, as seen from it; none before `start`.

    Attributes
    ----------
    live
        Whether pieces are still to be had from it.
    pid
        The copy's process id, 0 if there was none.
    """

    def __init__(self) -> None:
        self.live, self.pid = False, 0
        self._pipe: IO[bytes] | None = None

    def __del__(self) -> None:
        self.close()

    def start(self, pieces: Callable[[], Iterable[Piece]]) -> None:
        """Begin to make `pieces` in a copy of this process; nothing where that cannot be."""
        self.close()
        if not _possible():
            return
        # Ctrl-C waits until this object knows of the copy, and can end it.
        held = signal.pthread_sigmask(signal.SIG_BLOCK, STOPS)
        try:
            read_end, write_end = os.pipe()
            pipe = os.fdopen(read_end, "rb", buffering=0)
            try:
                pid = os.fork()
                if pid == 0:
                    _serve(write_end, pieces, held)
                self.pid, self._pipe, self.live = pid, pipe, True
            except OSError:  # no memory, or too many processes
                pipe.close()
            os.close(write_end)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, held)

    def get(self, key: Key) -> Arrays | None:
        """The next piece's arrays, which must be `key`'s; None if they are to be made here."""
        arrays = None
        try:
            arrays = self._next(key) if self.live else None
        except (OSError, EOFError):
            pass  # it has ended before its time
        finally:
            # Whatever came between, the rest of a piece would be taken for the next one.
            if arrays is None:
                self.close()
        return arrays

    def close(self) -> None:
        """End the copy, whatever it is doing."""
        if not self.live:
            return
        assert self._pipe is not None
        try:
            with contextlib.suppress(ProcessLookupError, ChildProcessError):
                os.kill(self.pid, signal.SIGKILL)
                os.waitpid(self.pid, 0)
        finally:
            # Without a reader it ends by itself, should Ctrl-C have come before the kill.
            self.live = False
            self._pipe.close()

    def _next(self, key: Key) -> Arrays | None:
        head = self._exactly(HEAD_BYTES)
        found, kinds = pickle.loads(self._exactly(int.from_bytes(head, "little")))
        return [self._array(shape, kind) for shape, kind in kinds] if found == key else None

    def _array(self, shape: tuple[int, ...], kind: str) -> npt.NDArray[Any]:
        array = np.empty(shape, kind)
        self._fill(array.reshape(-1).view(np.uint8).data)
        return array

    def _exactly(self, count: int) -> bytes:
        taken = bytearray(count)
        self._fill(memoryview(taken))
        return bytes(taken)

    def _fill(self, rest: memoryview) -> None:
        assert self._pipe is not None
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
                    push(self._pipe, part)
                with self._room:
                    self._bytes -= sum(map(len, parts[1:]))
                    self._room.notify()
        except BaseException:  # nobody listens any more, or no memory: nothing must wait for us
            os._exit(1)


def _let_go(kept: int) -> None:
    """Close what was open here but one: who waits for a pipe's end must not wait for a copy."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for number in [int(path.name) for path in Path("/proc/self/fd").iterdir()]:
        if number < 3:
            os.dup2(nowhere, number)
        elif number not in (kept, nowhere):
            with contextlib.suppress(OSError):  # the list's own, closed by now
                os.close(number)


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
        _let_go(write_end)
        pipe = os.fdopen(write_end, "wb", buffering=0)
        widen(pipe)
        sender = _Sender(pipe)
        try:
            for piece in pieces():
                sender.put(piece)
            code = 0
        finally:
            sender.finish()
    finally:
        os._exit(code)
