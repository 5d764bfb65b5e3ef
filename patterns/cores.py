"""How many processes this machine has room for."""

from __future__ import annotations

import ctypes
import os
import sys

__all__ = ["usual_jobs"]

# Of a process that draws and of its encoder, as measured at 720p to 4K.
BYTES, BYTES_PER_PIXEL = 200_000_000, 200
UNKNOWN_MEMORY = 4 << 30


def usual_jobs(width: int, height: int) -> int:
    """How many clips of a size are made at once: one for each core, in half of the memory."""
    each = BYTES + BYTES_PER_PIXEL * width * height
    return max(1, min(_cores(), _memory_bytes() // 2 // each))


def _cores() -> int:
    """Cores that this process may use."""
    usable = getattr(os, "sched_getaffinity", None)  # Linux
    return len(usable(0)) if usable else os.cpu_count() or 1


def _memory_bytes() -> int:
    """Memory of the machine."""
    if sys.platform == "win32":
        kilobytes = ctypes.c_ulonglong()
        known = ctypes.windll.kernel32.GetPhysicallyInstalledSystemMemory(ctypes.byref(kilobytes))
        return kilobytes.value << 10 if known else UNKNOWN_MEMORY
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError):
        return UNKNOWN_MEMORY
