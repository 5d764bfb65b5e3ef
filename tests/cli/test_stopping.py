"""Ctrl-Break of Windows, which reaches every process of a console, ends a command as Ctrl-C does.

There `raise` in a thread does what the system does when the keys are pressed: it runs the C
library's handler in a thread of its own.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from patterns.side_by_side import Progress, Task, side_by_side
from tests.cli.running import environment

pytestmark = pytest.mark.skipif(sys.platform != "win32", reason="only Windows has Ctrl-Break")

PRESSED = """
import signal, sys, threading, time
from pathlib import Path
from patterns.__main__ import main

def press():
    while not list(Path().glob(".*.part-*")):
        time.sleep(0.05)
    signal.raise_signal(signal.SIGBREAK)

threading.Thread(target=press, daemon=True).start()
sys.exit(main())
"""


def pressed(progress: Progress) -> str:
    import signal

    progress(0, 1)
    signal.raise_signal(signal.Signals["SIGBREAK"])
    return "done"


def test_ctrl_break_ends_a_command_and_leaves_nothing(tmp_path: Path) -> None:
    words = ("render", "bars", "--rate", "24", "--size", "360p", "--seconds", "600")
    done = subprocess.run(
        [sys.executable, "-c", PRESSED, *words, "--out", "clip.mp4"],
        cwd=tmp_path, env=environment(), capture_output=True, text=True, timeout=200, check=False,
    )  # fmt: skip
    assert done.returncode == 130
    assert done.stderr.splitlines()[-1] == "evenhold: stopped"
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


def test_workers_leave_ctrl_break_to_the_process_that_asked() -> None:
    tasks = [Task(name, pressed, (), 1) for name in ("one", "two")]
    assert side_by_side(tasks, 2) == ["done", "done"]
