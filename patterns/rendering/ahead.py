"""Work on ground that comes into view: two threads that never hold up the program's end."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from concurrent.futures import Executor, Future
from queue import SimpleQueue
from threading import Thread
from typing import Any, ParamSpec, TypeVar

__all__ = ["Ahead"]

THREADS = 2
P = ParamSpec("P")
T = TypeVar("T")
Job = tuple["Future[Any]", Callable[[], Any]] | None
Jobs = SimpleQueue[Job]


class Ahead(Executor):
    """Runs what it is given, in order, in the background.

    The threads are daemons: the interpreter ends without waiting for ground that nobody
    will see. They end by themselves when the object is dropped.

    Parameters
    ----------
    name
        Of the threads, for whoever looks at them.
    """

    def __init__(self, name: str) -> None:
        self._jobs: Jobs = SimpleQueue()
        for number in range(THREADS):
            thread = Thread(target=_work, args=(self._jobs,), name=f"{name} {number}", daemon=True)
            thread.start()
        self._end = weakref.finalize(self, _dismiss, self._jobs)

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Begin a job as soon as a thread is free; the result tells when it is done."""
        future: Future[T] = Future()
        self._jobs.put((future, lambda: fn(*args, **kwargs)))
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
            result = task()
        except BaseException as error:
            future.set_exception(error)
        else:
            future.set_result(result)
            del result
        del job, task, future
