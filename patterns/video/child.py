"""A child process that is never left behind, and the pipes to it.

The child has a session of its own, so that Ctrl-C in a terminal reaches Python only,
which then decides what becomes of it.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from functools import cache
from typing import IO

PIPE_BYTES = 1 << 20  # instead of the usual 64 KiB
# Windows: no Ctrl-C goes there. Ctrl-Break does, which ends a child that is of no use any more.
_NEW_GROUP = int(getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0))
_SIGNALS = [signal.SIGINT, signal.SIGTERM]
if sys.platform == "win32":
    _SIGNALS.append(signal.SIGBREAK)
_RUNNING: set[subprocess.Popen[bytes]] = set()


def start_child(command: list[str], *, feeds: bool) -> subprocess.Popen[bytes]:
    """Start a program; Ctrl-C never comes between its start and our knowing of it.

    `feeds`: whether its input is a pipe and its output nothing, else the other way round; its
    messages are a pipe in any case. Nothing is buffered. It ends with us at the latest, unless
    `forget_child` is called. Raises OSError: it cannot be started.
    """
    with _signals_held_back() as came:
        child = subprocess.Popen(
            command,
            stdin=subprocess.PIPE if feeds else subprocess.DEVNULL,
            stdout=subprocess.DEVNULL if feeds else subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            env={**os.environ, "SVT_LOG": "1"},  # it talks past ffmpeg's log level
            # a session of its own, so that Ctrl-C does not reach it
            start_new_session=sys.platform != "win32",
            creationflags=_NEW_GROUP,
        )
        _RUNNING.add(child)
        _end_with_us()
    try:
        for number in came:
            signal.raise_signal(number)
    except BaseException:
        with child:  # closes its pipes
            end_child(child)
        raise
    return child


def forget_child(child: subprocess.Popen[bytes]) -> None:
    """It has ended, and need not be ended at exit."""
    _RUNNING.discard(child)


def kill_child(child: subprocess.Popen[bytes]) -> None:
    """Kill it with what it has started, which would hold its pipes open."""
    if child.poll() is not None:
        return
    if sys.platform == "win32":
        child.kill()
    else:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)


def end_child(child: subprocess.Popen[bytes]) -> None:
    """Kill it, and wait until it has ended."""
    kill_child(child)
    child.wait()
    forget_child(child)


def widen(pipe: IO[bytes]) -> None:
    """Let a pipe hold more, where the system allows: fewer switches between two processes."""
    if sys.platform == "linux":
        import fcntl

        # F_SETPIPE_SZ; refused where the user's quota of pipe memory is used up
        with contextlib.suppress(OSError):
            fcntl.fcntl(pipe.fileno(), 1031, PIPE_BYTES)


@contextlib.contextmanager
def _signals_held_back() -> Iterator[list[int]]:
    """Let what a signal is to do wait; gives the list to which the numbers of those are added.

    Outside the main thread nothing is done: there no signal is handled.
    """
    came: list[int] = []
    before = {}
    if threading.current_thread() is threading.main_thread():
        for number in _SIGNALS:
            if callable(handler := signal.getsignal(number)):
                before[number] = handler
                signal.signal(number, lambda number, _: came.append(number))
    try:
        yield came
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@cache
def _end_with_us() -> None:
    """Have what still runs end at exit, before unfinished files go: it could make them anew.

    Only what Ctrl-C left between its start and the name under which it is kept runs then.
    """
    atexit.register(_end_running)


def _end_running() -> None:
    for child in tuple(_RUNNING):
        end_child(child)
