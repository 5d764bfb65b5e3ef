"""A screen without glass at any refresh: an X server with a dummy driver, and its framebuffer."""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from patterns.picture.arrays import UInt8Array

WIDTH, HEIGHT = 800, 600
RATES_HZ = (50, 60, 72, 90, 120, 144)
PACKAGES = "xserver-xorg-core xserver-xorg-video-dummy x11-xserver-utils"
# 1000 x 700 dots a refresh, so that the dot clock in MHz is 0.7 times the refresh
_MODE = 'Modeline "at{hz}" {clock:.4f} 800 840 900 1000 600 610 620 700'
_CONFIG = """
Section "Device"
  Identifier "device"
  Driver "dummy"
  VideoRam 65536
EndSection
Section "Monitor"
  Identifier "monitor"
  HorizSync 1-1000
  VertRefresh 1-1000
  {modes}
EndSection
Section "Screen"
  Identifier "screen"
  Device "device"
  Monitor "monitor"
  DefaultDepth 24
  SubSection "Display"
    Depth 24
    Modes {names}
    Virtual 800 600
  EndSubSection
EndSection
Section "ServerFlags"
  Option "AutoAddDevices" "false"
  Option "BlankTime" "0"
EndSection
"""


def missing() -> str:
    """What has to be installed, or ''."""
    driver = Path("/usr/lib/xorg/modules/drivers/dummy_drv.so")
    found = shutil.which("Xorg") and shutil.which("xrandr") and driver.exists()
    return "" if found else f"apt-get install --no-install-recommends {PACKAGES}"


@dataclass(frozen=True)
class DummyScreen:
    """A running X server; `display` is its name, such as ':42'."""

    display: str

    def set_refresh(self, hz: int) -> None:
        subprocess.run(
            ["xrandr", "--output", "DUMMY0", "--mode", f"at{hz}"],
            env={**os.environ, "DISPLAY": self.display},
            check=True,
            capture_output=True,
        )


@contextmanager
def dummy_screen(folder: Path) -> Iterator[DummyScreen]:
    """X server for as long as the block runs."""
    config = folder / "xorg.conf"
    modes = "\n  ".join(_MODE.format(hz=hz, clock=0.7 * hz) for hz in RATES_HZ)
    names = " ".join(f'"at{hz}"' for hz in RATES_HZ)
    config.write_text(_CONFIG.format(modes=modes, names=names))
    read, write = os.pipe()
    process = subprocess.Popen(
        [
            *("Xorg", "-noreset", "-nolisten", "tcp", "-displayfd", str(write)),
            *("-logfile", str(folder / "xorg.log"), "-config", str(config)),
        ],
        pass_fds=[write],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    try:
        with os.fdopen(read) as answer:
            number = answer.readline().strip()
        assert number, (folder / "xorg.log").read_text()
        yield DummyScreen(f":{number}")
    finally:
        process.terminate()
        process.wait(10)


class _XImage(ctypes.Structure):
    """The first fields of Xlib's XImage (X11/Xlib.h)."""

    _fields_ = (
        ("width", ctypes.c_int),
        ("height", ctypes.c_int),
        ("xoffset", ctypes.c_int),
        ("format", ctypes.c_int),
        ("data", ctypes.POINTER(ctypes.c_char)),
        ("byte_order", ctypes.c_int),
        ("bitmap_unit", ctypes.c_int),
        ("bitmap_bit_order", ctypes.c_int),
        ("bitmap_pad", ctypes.c_int),
        ("depth", ctypes.c_int),
        ("bytes_per_line", ctypes.c_int),
        ("bits_per_pixel", ctypes.c_int),
    )


class Framebuffer:
    """What is on the screen, read back from the X server."""

    def __init__(self, display: str) -> None:
        self._x = ctypes.CDLL(ctypes.util.find_library("X11") or "libX11.so.6")
        self._x.XOpenDisplay.restype = ctypes.c_void_p
        self._x.XDefaultRootWindow.argtypes = [ctypes.c_void_p]
        self._x.XDefaultRootWindow.restype = ctypes.c_ulong
        self._x.XGetImage.restype = ctypes.POINTER(_XImage)
        self._x.XGetImage.argtypes = [ctypes.c_void_p, ctypes.c_ulong, ctypes.c_int, ctypes.c_int]
        self._x.XGetImage.argtypes += [ctypes.c_uint, ctypes.c_uint, ctypes.c_ulong, ctypes.c_int]
        self._x.XDestroyImage.argtypes = [ctypes.POINTER(_XImage)]
        self._x.XCloseDisplay.argtypes = [ctypes.c_void_p]
        self._display = self._x.XOpenDisplay(display.encode())
        assert self._display, f"display {display} does not open"
        self._root = self._x.XDefaultRootWindow(self._display)

    def raw(self, left: int, top: int, width: int, height: int) -> bytes:
        """Bytes of a rectangle: rows of blue, green, red, nothing."""
        all_planes, z_pixmap = (1 << 64) - 1, 2
        image = self._x.XGetImage(
            self._display, self._root, left, top, width, height, all_planes, z_pixmap
        )
        assert image, "the screen cannot be read"
        size = image.contents.bytes_per_line * image.contents.height
        data = ctypes.string_at(image.contents.data, size)
        self._x.XDestroyImage(image)
        return data

    def close(self) -> None:
        self._x.XCloseDisplay(self._display)


def green(data: bytes, width: int) -> UInt8Array:
    """Green of raw bytes, (height, width): as good as luma for black and white cells."""
    return np.frombuffer(data, np.uint8).reshape(-1, width, 4)[:, :, 1].copy()


@dataclass(frozen=True)
class Shown:
    """A picture that came on the screen: some time between `before_s` and `first_s`."""

    before_s: float
    first_s: float
    data: bytes = field(repr=False)


class Watch(threading.Thread):
    """Looks at a rectangle of the screen over and over and keeps each change."""

    def __init__(self, display: str, box: tuple[int, int, int, int]) -> None:
        super().__init__(daemon=True)
        self._display, self._box, self._ending = display, box, threading.Event()
        self.shown: list[Shown] = []

    def run(self) -> None:
        framebuffer = Framebuffer(self._display)
        last, looked_s = b"", time.monotonic()
        while not self._ending.is_set():
            asked_s = time.monotonic()
            data = framebuffer.raw(*self._box)
            if data != last:
                self.shown.append(Shown(looked_s, time.monotonic(), data))
                last = data
            looked_s = asked_s
            time.sleep(0.0004)
        framebuffer.close()

    def stop(self) -> list[Shown]:
        self._ending.set()
        self.join()
        return self.shown
