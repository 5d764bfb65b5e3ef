"""Runs the command as a person does: as a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

COMMAND = [sys.executable, "-m", "patterns"]
ROOT = Path(__file__).parents[2]


def environment(**extra: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), **extra}


def run(
    *words: str, cwd: Path, timeout_s: float = 120, **extra: str
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
