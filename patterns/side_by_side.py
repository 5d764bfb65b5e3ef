"""Tasks made side by side in processes of their own, the same way on every system.

A worker is a fresh Python that takes tasks from its standard input and answers on its
standard output, both pickled. It shares nothing: no memory, no lock, no signal. The end of
its input, whether this process closes it or is killed, makes it unwind and end.
"""

from __future__ import annotations

import _thread
import contextlib
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from functools import partial
from queue import Empty, SimpleQueue
from typing import IO, Any, NamedTuple

from patterns.errors import WorkerError

Progress = Callable[[int, int], None]

POLL_S = 0.2  # between looks at whether this process was told to stop
PATIENCE_S = 10.0  # for a worker to leave nothing behind
_NEW_GROUP = int(getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0))  # Windows: without Ctrl-C
# The main program is not loaded again: scripts and notebooks need no guard against that.
_START = (
    "import sys; sys.path[:] = {!r}; from patterns.__main__ import settle; settle(); "
    "from patterns.side_by_side import work; work()"
)
# Of a process that draws and of its encoder, as measured at 720p to 4K.
BYTES, BYTES_PER_PIXEL = 200_000_000, 200
UNKNOWN_MEMORY = 4 << 30


class Task(NamedTuple):
    """Something to be made."""

    name: str  # for people
    make: Callable[..., Any]  # a function of a module, called with the arguments and a `Progress`
    arguments: tuple[Any, ...]  # what it is made of; can be pickled, as its result can
    size: int  # how long it takes, in the units of the common progress
    kin: str = ""  # tasks of one name take less time one after the other in the same process


def side_by_side(
    tasks: Sequence[Task], jobs: int = 1, progress: Progress | None = None
) -> list[Any]:
    """Results of all tasks, in their order.

    `tasks`: the longest are begun first, but kin go to one worker while there are others.
    `jobs`: how many are made at once, each in a process of its own; 1 in this one.
    `progress`: called in this process with (units done, units of all tasks).
    Raises `WorkerError`: a worker was killed. As after any exception, of a task or in this process,
    no worker is left; what was finished before stays.
    """
    total, done = sum(task.size for task in tasks), [0] * len(tasks)

    def moved(number: int, part: int, of: int) -> None:
        if of:
            done[number] = tasks[number].size * part // of
        if progress is not None:
            progress(sum(done), total)

    if min(jobs, len(tasks)) > 1:
        return _in_workers(tasks, min(jobs, len(tasks)), moved)
    results = []
    for number, task in enumerate(tasks):
        results.append(task.make(*task.arguments, partial(moved, number)))
        moved(number, 1, 1)
    return results


def next_task(tasks: Sequence[Task], waiting: list[int], own: str, others: set[str]) -> int:
    """First waiting task of a worker's `own` kin, else of one that no other is at, else any."""
    return min(waiting, key=lambda k: (tasks[k].kin != own, tasks[k].kin in others))


class _Worker:
    """One process, and the thread that listens to it; `number` is that of the task it makes."""

    def __init__(self, heard: SimpleQueue[tuple[_Worker, Any]]) -> None:
        self.number = -1
        self.process = subprocess.Popen(
            [sys.executable, "-c", _START.format(sys.path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # a session of its own, so that Ctrl-C in a terminal does not reach it
            start_new_session=sys.platform != "win32",
            creationflags=_NEW_GROUP,
        )
        threading.Thread(target=self._listen, args=(heard,), daemon=True).start()

    def give(self, number: int, task: Task) -> None:
        """Have it make a task."""
        self.number = number
        assert self.process.stdin is not None
        with contextlib.suppress(OSError):  # it has ended, as will be heard
            pickle.dump((task.make, task.arguments), self.process.stdin)
            self.process.stdin.flush()

    def dismiss(self) -> None:
        """Have it end, whatever it is making."""
        assert self.process.stdin is not None
        with contextlib.suppress(OSError):
            self.process.stdin.close()

    def _listen(self, heard: SimpleQueue[tuple[_Worker, Any]]) -> None:
        assert self.process.stdout is not None
        with contextlib.suppress(EOFError, OSError, pickle.UnpicklingError), self.process.stdout:
            while True:
                heard.put((self, pickle.load(self.process.stdout)))
        heard.put((self, None))


def _in_workers(
    tasks: Sequence[Task], jobs: int, moved: Callable[[int, int, int], None]
) -> list[Any]:
    waiting = sorted(range(len(tasks)), key=lambda k: -tasks[k].size)
    results: dict[int, Any] = {}
    heard: SimpleQueue[tuple[_Worker, Any]] = SimpleQueue()
    workers: list[_Worker] = []

    def give(worker: _Worker) -> None:
        own = tasks[worker.number].kin if worker.number >= 0 else ""
        others = {tasks[other.number].kin for other in workers if other is not worker}
        number = next_task(tasks, waiting, own, others)
        waiting.remove(number)
        worker.give(number, tasks[number])

    try:
        for _ in range(jobs):
            workers.append(_Worker(heard))
            give(workers[-1])
        while len(results) < len(tasks):
            try:
                worker, said = heard.get(timeout=POLL_S)
            except Empty:
                moved(workers[0].number, 0, 0)
                continue
            if said is None:
                raise _gone(worker, tasks[worker.number].name)
            kind, value = said
            if kind == "failed":
                raise value
            if kind == "part":
                moved(worker.number, *value)
                continue
            results[worker.number] = value
            moved(worker.number, 1, 1)
            if waiting:
                give(worker)
    finally:
        _dismiss(workers)
    return [results[number] for number in range(len(tasks))]


def _gone(worker: _Worker, name: str) -> WorkerError:
    code = worker.process.wait()
    how = f"killed by signal {-code}" if code < 0 else f"ended with exit code {code}"
    return WorkerError(
        f"the process that made {name} was {how}; what was finished before stays: if memory ran "
        f"out, try --jobs 1"
    )


def _dismiss(workers: list[_Worker]) -> None:
    """Let all end, and end those that do not."""
    try:
        for worker in workers:
            worker.dismiss()
        for worker in workers:
            with contextlib.suppress(subprocess.TimeoutExpired):
                worker.process.wait(PATIENCE_S)
    finally:  # also where Ctrl-C came once more
        for worker in workers:
            worker.process.kill()
            worker.process.wait()


def work() -> None:
    """What a worker does: make what it is given until its input ends."""
    answers, sys.stdout = sys.stdout.buffer, sys.stderr
    given: SimpleQueue[tuple[Callable[..., Any], tuple[Any, ...]] | None] = SimpleQueue()
    ended, unwinding = threading.Event(), threading.Event()

    def unwind(*_: object) -> None:
        if not unwinding.is_set():  # once more would cut short what clears up
            unwinding.set()
            raise KeyboardInterrupt

    def part(done: int, total: int) -> None:
        if ended.is_set():  # again: Python drops an exception that falls into some callbacks
            unwinding.set()
            raise KeyboardInterrupt
        _answer(answers, ("part", (done, total)))

    signal.signal(signal.SIGINT, unwind)
    if sys.platform == "win32":  # Ctrl-Break goes to all processes of a console
        signal.signal(signal.SIGBREAK, signal.SIG_IGN)
    threading.Thread(target=_take, args=(sys.stdin.buffer, given, ended), daemon=True).start()
    with contextlib.suppress(KeyboardInterrupt, BrokenPipeError):
        while (task := given.get()) is not None:
            try:
                made = task[0](*task[1], part)
            except Exception as error:
                _answer(answers, ("failed", _portable(error)))
            else:
                _answer(answers, ("done", made))


def _take(
    source: IO[bytes],
    given: SimpleQueue[tuple[Callable[..., Any], tuple[Any, ...]] | None],
    ended: threading.Event,
) -> None:
    """Thread that waits for tasks, and stops the one that is being made when the input ends."""
    with contextlib.suppress(EOFError, OSError):
        while True:
            given.put(pickle.load(source))
    ended.set()
    given.put(None)
    _thread.interrupt_main()


def _answer(answers: IO[bytes], what: tuple[str, Any]) -> None:
    pickle.dump(what, answers)
    answers.flush()


def _portable(error: Exception) -> Exception:
    """The error, or one that says the same, if it cannot be sent."""
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error


def usual_jobs(width: int, height: int) -> int:
    """How many clips of a size are made at once: one for each core, in half of the memory."""
    each = BYTES + BYTES_PER_PIXEL * width * height
    return max(1, min(_usable_cores(), _memory_bytes() // 2 // each))


def _usable_cores() -> int:
    """How many cores this process may use."""
    usable = getattr(os, "sched_getaffinity", None)  # Linux
    return len(usable(0)) if usable else os.cpu_count() or 1


def _memory_bytes() -> int:
    if sys.platform == "win32":
        import ctypes

        kilobytes = ctypes.c_ulonglong()
        known = ctypes.windll.kernel32.GetPhysicallyInstalledSystemMemory(ctypes.byref(kilobytes))
        return kilobytes.value << 10 if known else UNKNOWN_MEMORY
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError):
        return UNKNOWN_MEMORY
