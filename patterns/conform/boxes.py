"""Boxes of MP4 and QuickTime files: the tree that describes a movie, read and written.

ISO/IEC 14496-12 (ISO base media file format), section 4.2: a box is its size, four letters
that name its kind, and its body. QuickTime's atoms are the same.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO

from patterns.errors import InputError

# Boxes whose body is nothing but boxes; all others are kept as they are.
_OF_BOXES = {b"moov", b"trak", b"edts", b"mdia", b"minf", b"stbl", b"tref"}
MOST_BYTES = 1 << 29  # of a box that is taken into memory; a day of video has 0.1 of that


@dataclass(frozen=True)
class Place:
    """A box of the top level in its file: kind, first byte, and bytes with the header."""

    kind: bytes
    start: int
    size: int
    header: int

    def body(self, file: BinaryIO) -> bytes:
        """Read the body."""
        if self.size > MOST_BYTES:
            raise InputError("its index is too large to be read")
        file.seek(self.start + self.header)
        return file.read(self.size - self.header)


def places(file: BinaryIO) -> Iterator[Place]:
    """Boxes of the top level, in their order; ends where no box can be."""
    end = file.seek(0, 2)
    start = 0
    while start + 8 <= end:
        file.seek(start)
        head = file.read(16)
        size, kind = struct.unpack(">I4s", head[:8])
        header = 8
        if size == 1 and len(head) == 16:
            size, header = struct.unpack(">Q", head[8:])[0], 16
        elif size == 0:  # to the end of the file
            size = end - start
        if size < header or start + size > end:
            return
        yield Place(kind, start, size, header)
        start += size


@dataclass
class Box:
    """A box in memory: either its body, or the boxes in it."""

    kind: bytes
    body: bytes = b""
    parts: list[Box] = field(default_factory=list)

    @classmethod
    def parse(cls, kind: bytes, body: bytes) -> Box:
        """Read a box and those in it.

        Raises `InputError`: sizes that cannot be.
        """
        return cls(kind, parts=cls.inside(body)) if kind in _OF_BOXES else cls(kind, body)

    @classmethod
    def inside(cls, body: bytes) -> list[Box]:
        """Boxes of which a body consists; what is too short for one at its end is left out."""
        parts, at = [], 0
        while at + 8 <= len(body):
            size, kind = struct.unpack_from(">I4s", body, at)
            if not 8 <= size <= len(body) - at:
                raise InputError("its index is damaged")
            parts.append(cls.parse(kind, body[at + 8 : at + size]))
            at += size
        return parts

    def encoded(self) -> bytes:
        """The box as it stands in a file."""
        body = self.body + b"".join(part.encoded() for part in self.parts)
        return struct.pack(">I4s", 8 + len(body), self.kind) + body

    def find(self, *kinds: bytes) -> Box | None:
        """First box along a path of kinds."""
        box: Box | None = self
        for kind in kinds:
            box = next((part for part in box.parts if part.kind == kind), None) if box else None
        return box

    def need(self, *kinds: bytes) -> Box:
        """As `find`, for boxes that a movie cannot be without."""
        box = self.find(*kinds)
        if box is None:
            raise InputError(f"its index is damaged: it has no {kinds[-1].decode('latin-1')!r}")
        return box

    def put(self, box: Box) -> None:
        """Put a box in the place of the one of its kind, or after all others."""
        for place, part in enumerate(self.parts):
            if part.kind == box.kind:
                self.parts[place] = box
                return
        self.parts.append(box)

    def drop(self, *kinds: bytes) -> None:
        """Take out all boxes of these kinds."""
        self.parts = [part for part in self.parts if part.kind not in kinds]


def _layout(box: Box) -> str:
    """Fields of mvhd, mdhd and tkhd: version and flags, made, changed, scale (or track), length."""
    scale = "II" if box.kind == b"tkhd" else "I"
    return f">IQQ{scale}Q" if box.body[0] == 1 else f">III{scale}I"


def header_fields(box: Box) -> tuple[int, int]:
    """Ticks a second (of tkhd: the track's number) and length in ticks, of a header box."""
    fields = struct.unpack_from(_layout(box), box.body)
    return fields[3], fields[-1]


def with_header_fields(box: Box, scale: int, length: int) -> Box:
    """Header box with other values; long ones take the version with 64 bits."""
    old = _layout(box)
    fields = list(struct.unpack_from(old, box.body))
    rest = box.body[struct.calcsize(old) :]
    fields[3], fields[-1] = scale, length
    if length >= 1 << 32:
        fields[0] |= 1 << 24
    new = _layout(Box(box.kind, struct.pack(">I", fields[0])))
    return Box(box.kind, struct.pack(new, *fields) + rest)
