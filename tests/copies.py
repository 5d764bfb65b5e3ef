"""Whether this machine lets a process be copied for help."""

from __future__ import annotations

import os
import sys

__all__ = ["COPIES"]

COPIES = sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1
