"""Tests whose subject only some systems have."""

from __future__ import annotations

import sys

import pytest

__all__ = ["links", "linux", "posix", "signals"]

linux = pytest.mark.skipif(sys.platform != "linux", reason="looks into Linux's /proc")
links = pytest.mark.skipif(
    sys.platform == "win32", reason="on Windows only administrators and developers may make links"
)
posix = pytest.mark.skipif(
    sys.platform == "win32", reason="POSIX shells, pipes, devices and limits"
)
signals = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no POSIX signals")
