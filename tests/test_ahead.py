"""A copy of the process makes arrays ahead; whatever befalls it, the arrays are the same."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from patterns.ahead import Ahead, Piece, by_turns, last_half
from tests.copies import COPIES

ROOT = Path(__file__).parents[1]
needs_copies = pytest.mark.skipif(not COPIES, reason="no copies are made on this machine")


def pieces() -> Iterator[Piece]:
    """Arrays of several types, shapes and orders; one is larger than a pipe."""
    for n in range(6):
        square = np.arange(12 + 2 * n, dtype=np.uint16).reshape(2, -1)[:, ::-1]
        yield (n, -n), [square, np.full((3, n), n, np.float32), np.zeros(2_000_000, np.uint8) + n]


def endless() -> Iterator[Piece]:
    """More than may wait."""
    n = 0
    while True:
        yield (n,), [np.zeros(5_000_000, np.uint8)]
        n += 1


def gone(pid: int) -> bool:
    """Whether a process has ended (or ends within some seconds)."""
    for _ in range(100):
        try:
            state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
        except OSError:
            return True
        if state == "Z":
            return True
        time.sleep(0.05)
    return False


def started(make: object = pieces) -> Ahead:
    ahead = Ahead()
    ahead.start(make)  # type: ignore[arg-type]
    assert ahead.live
    return ahead


@needs_copies
def test_pieces_arrive_as_they_were_made() -> None:
    ahead = started()
    for key, arrays in pieces():
        got = ahead.get(key)
        assert got is not None
        for one, other in zip(got, arrays, strict=True):
            assert one.dtype == other.dtype
            assert np.array_equal(one, other)
    assert ahead.get((6, -6)) is None  # there are no more
    assert gone(ahead.pid)


@needs_copies
def test_another_key_ends_it() -> None:
    ahead = started()
    assert ahead.get((0, 0)) is not None
    assert ahead.get((2, -2)) is None
    assert ahead.get((1, -1)) is None
    assert gone(ahead.pid)


@needs_copies
def test_a_copy_that_is_killed_or_fails_is_done_without() -> None:
    def failing() -> Iterator[Piece]:
        yield (0,), [np.zeros(3)]
        raise ValueError

    killed, failed = started(endless), started(failing)
    os.kill(killed.pid, signal.SIGKILL)
    answers = [killed.get((n,)) for n in range(20)]
    assert answers[-1] is None
    assert failed.get((0,)) is not None
    assert failed.get((1,)) is None
    assert gone(killed.pid)
    assert gone(failed.pid)


@needs_copies
def test_closing_ends_a_copy_that_waits_for_room() -> None:
    ahead = started(endless)
    time.sleep(0.3)
    ahead.close()
    ahead.close()
    assert gone(ahead.pid)
    assert ahead.get((0,)) is None


@needs_copies
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_a_copy_does_not_outlive_who_was_copied(number: int) -> None:
    """Ctrl-C reaches both: the copy leaves it to the other, and ends with it."""
    code = (
        "import time\n"
        "from tests.test_ahead import endless, started\n"
        "ahead = started(endless)\n"
        "print(ahead.pid, flush=True)\n"
        "time.sleep(60)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    ) as process:
        assert process.stdout is not None
        copy = int(process.stdout.readline())
        if number == signal.SIGINT:
            os.killpg(process.pid, number)
        else:
            process.send_signal(number)
        assert process.stdout.read() == ""  # at once: the copy holds nothing open
        process.wait(10)
    assert gone(copy)


def test_none_is_made_beside_other_threads() -> None:
    """What another thread holds at that moment, a lock say, would be held for ever."""
    event = threading.Event()
    thread = threading.Thread(target=event.wait)
    thread.start()
    try:
        ahead = Ahead()
        ahead.start(pieces)
        assert not ahead.live
        assert ahead.get((0, 0)) is None
    finally:
        event.set()
        thread.join()


@needs_copies
def test_no_room_for_a_process_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse() -> int:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(os, "fork", refuse)
    ahead = Ahead()
    ahead.start(pieces)
    assert not ahead.live


@needs_copies
def test_ctrl_c_while_it_starts_leaves_a_copy_that_can_be_ended(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The signal waits until the object knows of the copy."""
    fork = os.fork

    def interrupted() -> int:
        pid = fork()
        if pid:
            os.kill(os.getpid(), signal.SIGINT)
        return pid

    monkeypatch.setattr(os, "fork", interrupted)
    ahead = Ahead()
    with pytest.raises(KeyboardInterrupt):
        ahead.start(endless)
    assert ahead.live
    ahead.close()
    assert gone(ahead.pid)


@needs_copies
def test_ctrl_c_within_a_piece_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is left of the piece would be taken for the next one."""
    ahead = started()

    def interrupted(*_: object) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(ahead, "_array", interrupted)
    with pytest.raises(KeyboardInterrupt):
        ahead.get((0, 0))
    assert not ahead.live
    assert gone(ahead.pid)


@needs_copies
def test_one_that_is_dropped_or_started_anew_leaves_no_process() -> None:
    ahead = started(endless)
    first = ahead.pid
    ahead.start(endless)
    assert gone(first)
    second = ahead.pid
    del ahead
    assert gone(second)


@needs_copies
def test_a_copy_holds_no_pipe_open() -> None:
    read_end, write_end = os.pipe()
    ahead = started(endless)
    os.close(write_end)
    time.sleep(0.2)
    os.set_blocking(read_end, False)
    assert os.read(read_end, 1) == b""  # the end: nobody can write any more
    os.close(read_end)
    ahead.close()


def test_the_work_is_halved() -> None:
    costs = [250.0, 2, 2, 60, 40, 50, 30, 30, 30, 60, 70, 50, 100]
    for mine in (last_half(costs), by_turns(costs)):
        share = sum(costs[k] for k in mine) / sum(costs)
        assert 0.4 <= share <= 0.6
    assert last_half([3.0]) in (range(1), range(1, 1))
    assert list(last_half([])) == list(by_turns([])) == []
