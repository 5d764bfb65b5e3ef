"""One track of a movie: where its samples lie and when each is shown, and other times for them.

Tables by ISO/IEC 14496-12, section 8.6 (times) and 8.7 (places). Decoding order is the order of
the table; a sample is shown at its decoding time and its composition offset together, which
differ where pictures refer to later ones. An edit list says from which time on a track shows.
"""

from __future__ import annotations

import struct
from fractions import Fraction

import numpy as np

from patterns.conform.boxes import Box, header_fields, with_header_fields
from patterns.errors import InputError
from patterns.picture.arrays import IntArray

LONGEST = (1 << 32) - 1  # what a field of 32 bits holds
_ONE = 1 << 16  # pace of an edit that is played as it is
_IN_ENTRY = 86  # bytes of a description of pictures before the boxes in it
_LIGHT = (b"colr", b"mdcv", b"clli")  # colour, mastering display, content light: any codec's
# Kinds of sound that is stored as plain samples (QuickTime File Format, "Sound Media").
_PCM = (b"lpcm", b"sowt", b"twos", b"in24", b"in32", b"fl32", b"fl64", b"raw ", b"ipcm", b"fpcm")


class Track:
    """A `trak` box and its tables.

    `trak`: the box; it is changed in place by the methods that set times.
    `movie_ticks`: ticks a second in which the movie counts, for the edit list.
    Raises `InputError`: tables that are damaged, or samples that lie in another file.
    """

    def __init__(self, trak: Box, movie_ticks: int) -> None:
        self.trak, self.movie_ticks = trak, movie_ticks
        self.stbl = trak.need(b"mdia", b"minf", b"stbl")
        self._refuse_other_files()
        self.number = header_fields(trak.need(b"tkhd"))[0]
        self.ticks = header_fields(trak.need(b"mdia", b"mdhd"))[0]
        self.sizes = self._sizes()
        self.offsets = self._offsets()
        self.per_chunk = self._per_chunk()
        lengths = self._runs(b"stts", signed=False)
        self.decoded = np.concatenate([[0], np.cumsum(lengths)[:-1]]) if len(lengths) else lengths
        # offsets below 0 are version 1 by the standard, but some writers use version 0 for them
        later = self._runs(b"ctts", signed=True) if self.stbl.find(b"ctts") else 0
        self.shown = self.decoded + later
        if not self.ticks or not len(self.sizes) == len(self.decoded) == self.per_chunk.sum():
            raise InputError("its index is damaged: its tables do not agree")

    @property
    def kind(self) -> bytes:
        """What it holds: b'vide', b'soun', b'tmcd' (timecode) ..."""
        return self.trak.need(b"mdia", b"hdlr").body[8:12]

    @property
    def entry(self) -> bytes:
        """Description of its samples: the entries, without the size of the first."""
        return self.stbl.need(b"stsd").body[12:]

    @property
    def is_pcm(self) -> bool:
        """Whether it is sound that is stored as plain samples."""
        return self.entry[:4] in _PCM

    @property
    def shown_s(self) -> Fraction:
        """From the movie's beginning to the track's end, seconds, as its header says."""
        return Fraction(header_fields(self.trak.need(b"tkhd"))[1], self.movie_ticks)

    def chunk_bytes(self) -> IntArray:
        """Bytes of each chunk, which lie together in the file."""
        first = np.cumsum(self.per_chunk) - self.per_chunk
        return np.add.reduceat(self.sizes, first) if len(first) else self.sizes

    def chunk_starts_s(self) -> list[float]:
        """When each chunk begins to be decoded, seconds."""
        first = np.cumsum(self.per_chunk) - self.per_chunk
        return [float(tick) / self.ticks for tick in self.decoded[first]]

    def shows(self) -> tuple[int, int | None]:
        """First tick that is shown and the one that ends it; None: the last sample's end.

        Raises `InputError`: it shows several stretches, or one at another speed.
        """
        entries = [entry for entry in self._edits() if entry[1] != -1]
        if not entries:
            return min(0, int(self.shown.min(initial=0))), None
        if len(entries) > 1 or entries[0][2] != _ONE:
            raise InputError("its edit list cuts or slows it: export it anew without edits")
        length, start, _ = entries[0]
        end = round(Fraction(length * self.ticks, self.movie_ticks)) if length else None
        return start, None if end is None else start + end

    def in_order(self) -> tuple[IntArray, IntArray]:
        """Place of each sample in the order of showing, and the places that are shown."""
        order = np.argsort(self.shown, kind="stable")
        place = np.empty(len(order), np.int64)
        place[order] = np.arange(len(order))
        start, end = self.shows()
        ticks = self.shown[order]
        seen = (ticks >= start) & (ticks < (ticks[-1] + 1 if end is None else end))
        return place, np.flatnonzero(seen)

    def set_rate(self, rate: Fraction, ticks: int) -> int:
        """Show every picture once, the n-th at n / rate exactly; returns how many are shown.

        Pictures keep their order of decoding; the offset of each follows from its place in the
        order of showing. `ticks` a second, in which every n / rate is whole, is the movie's too.
        """
        place, seen = self.in_order()
        step = int(ticks / rate)
        behind = np.arange(len(place)) - place  # by which a picture is decoded after its turn
        wait = max(0, int(behind.max(initial=0)))
        self._put_runs(b"stts", np.full(len(place), step))
        self.stbl.drop(b"ctts", b"cslg")
        if behind.any():
            self._put_runs(b"ctts", (wait - behind) * step)
        start = (int(seen[0]) + wait) * step
        self._set_length(ticks, len(place) * step, len(seen) * step, ticks)
        self.trak.drop(b"edts")
        if start or len(seen) < len(place):
            self._put_edits([(len(seen) * step, start, _ONE)])
        self.ticks, self.decoded = ticks, np.arange(len(place)) * step
        return len(seen)

    def set_speed(self, speed: Fraction, movie_ticks: int) -> bool:
        """Let all of it pass so much faster; False if its clock cannot say that exactly."""
        scale = self.ticks * speed
        finer = scale.denominator
        lengths = np.diff(self.decoded, append=self._end()) * finer
        offsets = (self.shown - self.decoded) * finer
        if max(scale.numerator, int(lengths.max(initial=0)), int(abs(offsets).max())) > LONGEST:
            return False
        edits, old_ticks = self._edits(), self.movie_ticks
        self._put_runs(b"stts", lengths)
        if self.stbl.find(b"ctts"):
            self._put_runs(b"ctts", offsets)
        self.stbl.drop(b"cslg")
        change = movie_ticks / (old_ticks * speed)
        shown = header_fields(self.trak.need(b"tkhd"))[1]
        self._set_length(scale.numerator, self._end() * finer, round(shown * change), movie_ticks)
        if edits:
            self._put_edits(
                [(round(n * change), max(-1, start * finer), pace) for n, start, pace in edits]
            )
        self.ticks, self.decoded = scale.numerator, self.decoded * finer
        return True

    def lasts(self, length: int, movie_ticks: int) -> None:
        """Let a track that begins with the movie end after so many ticks of it."""
        edits = self._edits()
        self._set_length(self.ticks, self._end(), length, movie_ticks)
        self._put_edits([(length, edits[-1][1] if edits else 0, _ONE)])

    def hold_one(self, length: int, ticks: int) -> None:
        """Let its only sample last so many ticks, of the movie too."""
        self._put_runs(b"stts", np.array([length]))
        self._set_length(ticks, length, length, ticks)
        self.trak.drop(b"edts")
        self.ticks = ticks

    def place_chunks(self, offsets: list[int], *, wide: bool) -> None:
        """Say where its chunks lie, in 64 bits where 32 do not reach."""
        self.stbl.drop(b"stco", b"co64")
        table = np.array(offsets, ">u8" if wide else ">u4").tobytes()
        kind = b"co64" if wide else b"stco"
        self.stbl.put(Box(kind, struct.pack(">II", 0, len(offsets)) + table))

    def with_pictures_of(self, other: Track) -> Track:
        """Track that is this one but for its pictures and their times, which are the other's.

        The tags of light that this one's pictures had stay, where the other's have none.
        """
        light = [box for box in Box.inside(self.entry[_IN_ENTRY - 4 :]) if box.kind in _LIGHT]
        for kind in (b"mdhd", b"minf"):
            self.trak.need(b"mdia").put(other.trak.need(b"mdia", kind))
        self.trak.drop(b"edts")
        if edits := other.trak.find(b"edts"):
            self.trak.put(edits)
        track = Track(self.trak, other.movie_ticks)
        stsd = track.stbl.need(b"stsd")
        there = {box.kind for box in Box.inside(stsd.body[8 + _IN_ENTRY :])}
        more = b"".join(box.encoded() for box in light if box.kind not in there)
        size = struct.pack(">I", len(stsd.body) - 8 + len(more))
        stsd.body = stsd.body[:8] + size + stsd.body[12:] + more
        return track

    def _end(self) -> int:
        lengths = self._runs(b"stts", signed=False)
        return int(lengths.sum())

    def _set_length(self, ticks: int, length: int, shown: int, movie_ticks: int) -> None:
        mdia = self.trak.need(b"mdia")
        mdia.put(with_header_fields(mdia.need(b"mdhd"), ticks, length))
        self.trak.put(with_header_fields(self.trak.need(b"tkhd"), self.number, shown))
        self.movie_ticks = movie_ticks

    def _put_edits(self, edits: list[tuple[int, int, int]]) -> None:
        wide = any(max(edit) >= 1 << 31 for edit in edits)
        rows = b"".join(struct.pack(">Qqi" if wide else ">Iii", *edit) for edit in edits)
        body = struct.pack(">II", wide << 24, len(edits)) + rows
        self.trak.drop(b"edts")
        at = self.trak.parts.index(self.trak.need(b"mdia"))  # QuickTime's order: before the media
        self.trak.parts.insert(at, Box(b"edts", parts=[Box(b"elst", body)]))

    def _edits(self) -> list[tuple[int, int, int]]:
        """Length in the movie's ticks, first tick shown (-1: nothing) and pace x 65536, of each."""
        elst = self.trak.find(b"edts", b"elst")
        if elst is None:
            return []
        layout, count = (">Qqi" if elst.body[0] else ">Iii"), self._count(elst, 4)
        size = struct.calcsize(layout)
        if len(elst.body) < 8 + count * size:
            raise InputError("its index is damaged: its edit list is cut off")
        return [struct.unpack_from(layout, elst.body, 8 + size * n) for n in range(count)]

    @staticmethod
    def _count(box: Box, at: int) -> int:
        if len(box.body) < at + 4:
            raise InputError("its index is damaged: a table is cut off")
        return int(struct.unpack_from(">I", box.body, at)[0])

    def _table(self, box: Box, at: int, columns: int, kind: str = ">u4") -> IntArray:
        """Rows of whole numbers from byte `at` on, whose count stands before them."""
        cells = self._count(box, at - 4) * columns
        width = np.dtype(kind).itemsize
        if len(box.body) < at + cells * width:
            raise InputError("its index is damaged: a table is cut off")
        found = np.frombuffer(box.body, kind, cells, at).astype(np.int64)
        return found.reshape(-1, columns)

    def _runs(self, kind: bytes, *, signed: bool) -> IntArray:
        """Value of each sample from a table of (how many, value)."""
        rows = self._table(self.stbl.need(kind), 8, 2)
        if rows[:, 0].sum() != len(self.sizes):
            raise InputError("its index is damaged: its tables do not agree")
        values = rows[:, 1].astype(np.uint32)
        return np.repeat(values.astype(np.int32) if signed else values, rows[:, 0]).astype(np.int64)

    def _put_runs(self, kind: bytes, values: IntArray) -> None:
        starts = np.flatnonzero(np.diff(values, prepend=values[:1] - 1)) if len(values) else values
        counts = np.diff(starts, append=len(values))
        rows = np.stack([counts, values[starts]], axis=1).astype(np.int64).astype(np.uint32)
        version = 1 << 24 if kind == b"ctts" and int(values.min()) < 0 else 0
        body = struct.pack(">II", version, len(rows)) + rows.astype(">u4").tobytes()
        self.stbl.put(Box(kind, body))

    def _sizes(self) -> IntArray:
        stsz = self.stbl.need(b"stsz")
        same, count = self._count(stsz, 4), self._count(stsz, 8)
        if not same:
            return self._table(stsz, 12, 1)[:, 0]
        if count > 1 << 28:
            raise InputError("its index is damaged: it counts more samples than there can be")
        return np.full(count, same, np.int64)

    def _offsets(self) -> IntArray:
        if wide := self.stbl.find(b"co64"):
            return self._table(wide, 8, 1, ">u8")[:, 0]
        return self._table(self.stbl.need(b"stco"), 8, 1)[:, 0]

    def _per_chunk(self) -> IntArray:
        """How many samples each chunk has, from a table of (first chunk, samples, description)."""
        rows = self._table(self.stbl.need(b"stsc"), 8, 3)
        runs = np.diff(rows[:, 0], append=len(self.offsets) + 1)
        if len(rows) and (rows[0, 0] != 1 or runs.min() < 0):
            raise InputError("its index is damaged: its tables do not agree")
        return np.repeat(rows[:, 1], runs)

    def _refuse_other_files(self) -> None:
        """A reference without the flag for 'in this file' would make us copy from elsewhere."""
        dref = self.trak.find(b"mdia", b"minf", b"dinf")
        flags = [] if dref is None else _reference_flags(dref.body)
        if any(not flag & 1 for flag in flags):
            raise InputError("its samples lie in another file: give a file that holds them itself")


def _reference_flags(dinf: bytes) -> list[int]:
    """Flags of the entries of a dref box, which a dinf box holds."""
    flags, at = [], 16  # two headers of boxes less one that was taken off, version, count
    while at + 12 <= len(dinf):
        size, _, flag = struct.unpack_from(">I4sI", dinf, at)
        flags.append(flag)
        at += max(size, 12)
    return flags
