"""Runs the command as a person does: as a process of its own, or the same words in this one."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

from patterns.cli import main

COMMAND = [sys.executable, "-m", "patterns"]
ROOT = Path(__file__).parents[2]


def environment(**extra: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), **extra}


def run(*words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """In this process, which has all loaded: for what is printed and written."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    before, handlers = Path.cwd(), {n: signal.getsignal(n) for n in (signal.SIGINT, signal.SIGTERM)}
    os.chdir(cwd)
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = main(list(words))
    finally:
        os.chdir(before)
        for number, handler in handlers.items():
            signal.signal(number, handler)
    printed, said = (stream.buffer.getvalue().decode() for stream in (out, err))
    return subprocess.CompletedProcess(words, code, printed, said)


def run_process(
    *words: str, cwd: Path, timeout_s: float = 250, **extra: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *words],
        cwd=cwd,
        env=environment(**extra),
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )


def start(*words: str, cwd: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*COMMAND, *words],
        cwd=cwd,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def encoders_in(folder: Path) -> list[int]:
    """Processes whose command line names a file in `folder`, our own ones included."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            words = (entry / "cmdline").read_bytes()
        except OSError:
            continue
        if str(folder).encode() in words:
            found.append(int(entry.name))
    return found


def program_of(process: int) -> Path | None:
    """What a process runs; None once it has ended."""
    try:
        return Path(f"/proc/{process}/exe").readlink()
    except OSError:
        return None
