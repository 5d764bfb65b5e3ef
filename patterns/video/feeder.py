"""Pushes frames into the encoder from a thread, so that drawing and encoding overlap.

Memory is bounded: a few frame buffers go round between the one that fills them and
the one that empties them.
"""

from __future__ import annotations

import threading
from queue import SimpleQueue

import numpy as np

from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import Planes
from patterns.video.process import FfmpegProcess

BUFFERS = 6  # frames that may wait: the encoder has work while the next few are drawn


class Feeder:
    """Thread that writes whole frames to `encoder` in the order given.

    `encoder`: its input is closed by the thread when it ends.
    `frame_bytes`: size of one frame, planes one after the other.
    """

    def __init__(self, encoder: FfmpegProcess, frame_bytes: int) -> None:
        self._encoder = encoder
        # Not `queue.Queue`: an exception raised by a signal (Ctrl-C, SIGTERM) can leave its
        # Python lock held, and then giving up would wait for ever. This one has no such lock.
        self._free: SimpleQueue[UInt8Array] = SimpleQueue()
        self._full: SimpleQueue[UInt8Array | None] = SimpleQueue()
        for _ in range(BUFFERS):
            self._free.put(np.empty(frame_bytes, np.uint8))
        self._given_up = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def broken(self) -> bool:
        """Whether the encoder has ended."""
        return self._given_up.is_set()

    def put(self, frame: Planes) -> None:
        """Queue a copy of a frame; waits while no buffer is free."""
        buffer = self._free.get()
        start = 0
        for plane in (frame.y, frame.cb, frame.cr):
            buffer[start : start + plane.size].reshape(plane.shape)[:] = plane
            start += plane.size
        self._full.put(buffer)

    def finish(self) -> None:
        """Wait until all is written and the pipe is closed."""
        self._full.put(None)
        self._thread.join()

    def give_up(self) -> None:
        """Write no further frame; does not wait."""
        self._given_up.set()
        self._full.put(None)

    def join(self, timeout_s: float) -> None:
        """Wait for the thread's end."""
        self._thread.join(timeout_s)

    def _run(self) -> None:
        try:
            while (buffer := self._full.get()) is not None:
                if not self._given_up.is_set():
                    try:
                        self._encoder.write(buffer.data)
                    except OSError:
                        self._given_up.set()
                # After a failure buffers still go round, so that nobody waits for ever.
                self._free.put(buffer)
        finally:
            self._encoder.close_input()
