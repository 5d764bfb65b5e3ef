"""A movie file: its tracks, what it tells beside them, and a new file with other times.

The samples are copied byte for byte; only the index (`moov`) is made anew. Whatever it holds
beside the times, such as rotation, colour and HDR tags, place and date, stays as it was.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import BinaryIO

from patterns.conform.boxes import Box, header_fields, places, with_header_fields
from patterns.conform.track import LONGEST, Track
from patterns.errors import InputError
from patterns.side_by_side import Progress

# Boxes of the top level that go along; those of fragments, the samples and padding do not.
_GO_ALONG = (b"uuid", b"meta", b"udta")
BLOCK = 1 << 20  # bytes that are copied at a time
_UPRIGHT = struct.pack(">9I", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)


@dataclass(frozen=True)
class Piece:
    """Bytes of a track that lie together: when they are needed, and where they are."""

    start_s: float
    source: Path | bytes
    offset: int
    size: int


@dataclass
class Movie:
    """A file taken apart: its type, its index with the tracks, what goes along, where it lies."""

    path: Path
    brand: Box
    moov: Box
    along: tuple[Box, ...]
    tracks: list[Track]

    @classmethod
    def read(cls, path: Path) -> Movie:
        """Take a file apart.

        Raises `InputError`: damaged, cut off, encrypted, or with samples in another file.
        """
        try:
            with path.open("rb") as file:
                found = list(places(file))
                kept = {p.kind: Box.parse(p.kind, p.body(file)) for p in found if _is_read(p.kind)}
                along = tuple(Box(p.kind, p.body(file)) for p in found if p.kind in _GO_ALONG)
                end = file.seek(0, 2)
            moov = kept[b"moov"]
            ticks = header_fields(moov.need(b"mvhd"))[0]
            tracks = [Track(part, ticks) for part in moov.parts if part.kind == b"trak"]
            brand = kept.get(b"ftyp", Box(b"ftyp", b"qt  \0\0\0\0qt  "))
            movie = cls(path, brand, moov, along, tracks)
            movie._check(end)
        except InputError as error:
            raise InputError(f"{path} cannot be conformed: {error}") from error
        except (struct.error, ValueError, IndexError, KeyError, ZeroDivisionError) as error:
            raise InputError(f"{path} is damaged: its index cannot be read") from error
        return movie

    @property
    def picture(self) -> Track:
        """Track of the pictures: the first one that is no still."""
        for track in self.tracks:
            if track.kind == b"vide" and len(track.sizes) > 1:
                return track
        raise InputError(f"{self.path} holds no moving pictures")

    def of_kind(self, kind: bytes) -> list[Track]:
        """Tracks of a kind."""
        return [track for track in self.tracks if track.kind == kind]

    def remove(self, track: Track) -> None:
        """Take a track out, and what refers to it."""
        self.tracks.remove(track)
        self.moov.parts = [part for part in self.moov.parts if part is not track.trak]
        gone = struct.pack(">I", track.number)
        for other in self.tracks:
            links = other.trak.find(b"tref")
            for link in links.parts if links else ():
                numbers = [link.body[i : i + 4] for i in range(0, len(link.body), 4)]
                link.body = b"".join(number for number in numbers if number != gone)

    def add(self, track: Track, number: int) -> None:
        """Put a track in, under a number of its own."""
        head = track.trak.need(b"tkhd")
        track.trak.put(with_header_fields(head, number, header_fields(head)[1]))
        track.number = number
        self.tracks.append(track)
        self.moov.parts.append(track.trak)

    def kept_tags(self) -> tuple[str, ...]:
        """Names of what the index says beside the times, all of which goes along."""
        picture = self.picture
        head = picture.trak.need(b"tkhd").body
        notes = b"".join(
            part.encoded()
            for box in (self.moov, *(track.trak for track in self.tracks))
            for part in box.parts
            if part.kind in (b"udta", b"meta")
        )
        made = self.moov.need(b"mvhd").body[4:12]
        found = {
            "creation date": any(made[: 4 if self.moov.need(b"mvhd").body[0] == 0 else 8]),
            "place": any(mark in notes for mark in (b"\xa9xyz", b"loci", b"ISO6709")),
            "rotation": head[-44:-8] != _UPRIGHT,
            "colour tags": b"colr" in picture.entry,
            "HDR tags": any(mark in picture.entry for mark in (b"mdcv", b"clli", b"dvcC", b"dvvC")),
        }
        return tuple(name for name, there in found.items() if there)

    def set_timecode(self, track: Track, rate: Fraction, length: int, ticks: int) -> bytes:
        """Let a timecode track begin with the label that it had, and count at `rate` from there.

        QuickTime File Format, "Timecode Sample Description": flags at byte 20 of the entry, then
        ticks a second, ticks a frame, frames a second. Its one sample is the number of the first
        frame. Returns that sample; b'' where the track is of another form or cannot say the label.
        """
        stsd = track.stbl.need(b"stsd")
        if len(track.sizes) != 1 or track.sizes[0] != 4 or len(stsd.body) < 42:
            return b""
        with self.path.open("rb") as file:
            file.seek(int(track.offsets[0]))
            number = int(struct.unpack(">I", file.read(4))[0])
        flags, _, _, old = struct.unpack_from(">IIIB", stsd.body, 28)
        new = round(rate)
        second, frame = divmod(_label(number, old) if flags & 1 else number, old)
        if frame >= new or new > 255:
            return b""
        fields = struct.pack(">IIIB", flags & ~1, rate.numerator, rate.denominator, new)
        stsd.body = stsd.body[:28] + fields + stsd.body[41:]
        track.hold_one(length, ticks)
        return struct.pack(">I", second * new + frame)

    def _check(self, end: int) -> None:
        for track in self.tracks:
            if any(mark in track.entry[:8] for mark in (b"encv", b"enca")):
                raise InputError("it is encrypted")
            if len(track.offsets) and (track.offsets + track.chunk_bytes()).max() > end:
                raise InputError("it is cut off, and samples are missing: try a fresh copy")


def _is_read(kind: bytes) -> bool:
    return kind in (b"ftyp", b"moov")


def _label(number: int, fps: int) -> int:
    """Frame number as if no label were left out, of drop-frame timecode (SMPTE ST 12-1).

    Two labels for every 30 frames a second are left out each minute but each tenth one.
    """
    lack = fps // 15
    minute, ten = 60 * fps - lack, 600 * fps - 9 * lack
    tens, rest = divmod(number, ten)
    minutes = 0 if rest < 60 * fps else 1 + (rest - 60 * fps) // minute
    return number + lack * (9 * tens + minutes)


def stated_level(entry: bytes) -> tuple[str, float] | None:
    """Codec and level that a sample entry states, such as ('h264', 4.1); None of other codecs.

    ISO/IEC 14496-15, 5.3.3.1.2 (AVCLevelIndication, ten times the level) and 8.3.3.1.2
    (general_level_idc of H.265, thirty times); from memory.
    """
    for kind, codec, at, times in ((b"avcC", "h264", 3, 10), (b"hvcC", "hevc", 12, 30)):
        place = entry.find(kind) + len(kind) + at
        if kind in entry and place < len(entry):
            return codec, entry[place] / times
    return None


def pieces_of(track: Track, source: Path) -> list[Piece]:
    """Where the samples of a track are, in their order."""
    rows = zip(track.chunk_starts_s(), track.offsets, track.chunk_bytes(), strict=True)
    return [Piece(start, source, int(offset), int(size)) for start, offset, size in rows]


def is_plain_movie(path: Path) -> bool:
    """Whether a file is MP4 or QuickTime with one index for all of it."""
    with path.open("rb") as file:
        kinds = [place.kind for place in places(file)]
    return b"moov" in kinds and b"moof" not in kinds


def write_movie(
    movie: Movie,
    pieces: dict[int, list[Piece]],
    out: BinaryIO,
    length: int,
    ticks: int,
    progress: Progress,
) -> None:
    """Write a file: the index in front, then the pieces in the order in which they are needed.

    `movie`: its tracks have their new times.
    `pieces`: of each track, by its number.
    `out`: where to; empty.
    `length`, `ticks`: of the movie, in ticks, and ticks a second.
    `progress`: called with bytes done and their number.
    """
    moov = movie.moov
    moov.put(with_header_fields(moov.need(b"mvhd"), ticks, length))
    moov.drop(b"mvex")
    queue = sorted(
        ((piece.start_s, number, i) for number in pieces for i, piece in enumerate(pieces[number])),
    )
    total = sum(pieces[number][i].size for _, number, i in queue)
    head = movie.brand.encoded() + b"".join(box.encoded() for box in movie.along)
    offsets = {number: [0] * len(of) for number, of in pieces.items()}
    _place(movie, offsets, wide=total > LONGEST // 2)
    at = len(head) + len(moov.encoded()) + 16
    for _, number, i in queue:
        offsets[number][i] = at
        at += pieces[number][i].size
    _place(movie, offsets, wide=total > LONGEST // 2)
    out.write(head + moov.encoded() + struct.pack(">I4sQ", 1, b"mdat", 16 + total))
    files: dict[Path, BinaryIO] = {}
    try:
        done = 0
        for _, number, i in queue:
            done += _copy(pieces[number][i], files, out)
            progress(done, total)
    finally:
        for file in files.values():
            file.close()


def _place(movie: Movie, offsets: dict[int, list[int]], *, wide: bool) -> None:
    for track in movie.tracks:
        track.place_chunks(offsets[track.number], wide=wide)


def _copy(piece: Piece, files: dict[Path, BinaryIO], out: BinaryIO) -> int:
    if isinstance(piece.source, bytes):
        return out.write(piece.source)
    if piece.source not in files:
        files[piece.source] = piece.source.open("rb")
    file = files[piece.source]
    file.seek(piece.offset)
    left = piece.size
    while left:
        block = file.read(min(left, BLOCK))
        if not block:
            raise InputError(f"{piece.source} became shorter while it was read: try again")
        left -= out.write(block)
    return piece.size
