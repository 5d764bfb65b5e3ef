"""A child is never left behind by a signal that comes while it starts."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from types import FrameType
from typing import Any

import pytest

from patterns.video import child
from tests.systems import posix

WAITS = [sys.executable, "-c", "import sys; sys.stdin.read()"]


def signalled(monkeypatch: pytest.MonkeyPatch, number: signal.Signals) -> list[int]:
    """Have `number` come right after a child has started; gives the list of their process ids."""
    started: list[int] = []

    class Signalled(subprocess.Popen[bytes]):
        def __init__(self, *args: Any, **options: Any) -> None:
            super().__init__(*args, **options)
            started.append(self.pid)
            signal.raise_signal(number)

    monkeypatch.setattr(subprocess, "Popen", Signalled)
    return started


@posix
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_while_it_starts_ends_it(
    monkeypatch: pytest.MonkeyPatch, number: signal.Signals
) -> None:
    def stop(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - as signal calls it
        raise SystemExit(128 + number)

    before = signal.signal(number, stop)
    try:
        started = signalled(monkeypatch, number)
        with pytest.raises(SystemExit):
            child.start_child(WAITS, feeds=True)
        assert signal.getsignal(number) is stop
    finally:
        signal.signal(number, before)
    (process,) = started
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)


@posix
def test_a_signal_that_is_only_noted_lets_it_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    noted: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: noted.append(number))
    try:
        signalled(monkeypatch, signal.SIGINT)
        running = child.start_child(WAITS, feeds=True)
    finally:
        signal.signal(signal.SIGINT, before)
    assert noted == [signal.SIGINT]
    assert running.poll() is None
    assert running.stdin is not None
    running.stdin.close()
    assert running.wait(60) == 0
    assert running.stderr is not None
    running.stderr.close()
    child.forget_child(running)
