"""Work on ground that comes into view: two threads that never hold up the program's end."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from concurrent.futures import Future
from queue import SimpleQueue
from threading import Thread

__all__ = ["Ahead"]

THREADS = 2
Job = tuple["Future[None]", Callable[[], None]] | None
Jobs = SimpleQueue[Job]


class Ahead:
    """Runs what it is given, in order, in the background.

    The threads are daemons: the interpreter ends without waiting for ground that nobody
    will see. They end by themselves when the object is dropped.
    """

    def __init__(self) -> None:
        self._jobs: Jobs = SimpleQueue()
        for number in range(THREADS):
            Thread(target=_work, args=(self._jobs,), name=f"terrain {number}", daemon=True).start()
        self._end = weakref.finalize(self, _dismiss, self._jobs)

    def submit(self, job: Callable[[], None]) -> Future[None]:
        """Begin `job` as soon as a thread is free; the result tells when it is done."""
        future: Future[None] = Future()
        self._jobs.put((future, job))
        return future

    def close(self) -> None:
        """Drop what has not been begun. May be called more than once, or not at all."""
        while not self._jobs.empty():
            job = self._jobs.get()
            if job is not None:
                job[0].cancel()
        self._end()


def _dismiss(jobs: Jobs) -> None:
    for _ in range(THREADS):
        jobs.put(None)


def _work(jobs: Jobs) -> None:
    while (job := jobs.get()) is not None:
        future, task = job
        if not future.set_running_or_notify_cancel():
            continue
        try:
            task()
        except BaseException as error:
            future.set_exception(error)
        else:
            future.set_result(None)
        del job, task, future
