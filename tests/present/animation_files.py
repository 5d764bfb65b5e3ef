"""Timing of animated pictures read from their bytes, by the published layouts of the formats.

WebP: RFC 9649, ANMF chunk (frame duration: 24 bits, little endian, milliseconds).
PNG: Portable Network Graphics specification, third edition, fcTL chunk. GIF: GIF89a
specification, graphic control extension (delay: 16 bits, hundredths of a second).
"""

from __future__ import annotations

import struct
from fractions import Fraction


def webp_durations(data: bytes) -> list[Fraction]:
    assert data[:4] == b"RIFF"
    assert data[8:12] == b"WEBP"
    at, found = 12, []
    while at < len(data):
        kind = data[at : at + 4]
        (size,) = struct.unpack_from("<I", data, at + 4)
        if kind == b"ANMF":
            found.append(Fraction(int.from_bytes(data[at + 20 : at + 23], "little"), 1000))
        at += 8 + size + size % 2
    return found


def apng_durations(data: bytes) -> list[Fraction]:
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at, found = 8, []
    while at < len(data):
        (size,) = struct.unpack_from(">I", data, at)
        if data[at + 4 : at + 8] == b"fcTL":
            top, bottom = struct.unpack_from(">HH", data, at + 8 + 20)
            found.append(Fraction(top, bottom or 100))
        at += 12 + size
    return found


def gif_durations(data: bytes) -> list[Fraction]:
    assert data[:6] == b"GIF89a"
    flags = data[10]
    at = 13 + (3 << (flags & 7) + 1 if flags & 0x80 else 0)
    found = []
    while data[at] != 0x3B:
        if data[at] == 0x21:
            if data[at + 1] == 0xF9:
                found.append(Fraction(struct.unpack_from("<H", data, at + 4)[0], 100))
            at += 2
        else:
            flags = data[at + 9]
            at += 10 + (3 << (flags & 7) + 1 if flags & 0x80 else 0) + 1
        while data[at]:
            at += data[at] + 1
        at += 1
    return found
