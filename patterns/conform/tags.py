"""What a movie tells beside its pictures and sound: timecode, rotation, colour, place, date."""

from __future__ import annotations

import struct
from fractions import Fraction

from patterns.conform.boxes import Box
from patterns.conform.movie import Movie
from patterns.conform.track import Track

# Kinds of sound that is stored as plain samples (QuickTime File Format, "Sound Media").
_PCM = (b"lpcm", b"sowt", b"twos", b"in24", b"in32", b"fl32", b"fl64", b"raw ", b"ipcm", b"fpcm")
_UPRIGHT = struct.pack(">9I", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
_IN_ENTRY = 86  # bytes of a description of pictures before the boxes in it
_LIGHT = (b"colr", b"mdcv", b"clli")  # colour, mastering display, content light: any codec's


def kept_tags(movie: Movie) -> tuple[str, ...]:
    """Names of what the index of a file says, all of which goes along."""
    picture = movie.picture
    head = picture.trak.need(b"tkhd").body
    notes = b"".join(
        part.encoded()
        for box in (movie.moov, *(track.trak for track in movie.tracks))
        for part in box.parts
        if part.kind in (b"udta", b"meta")
    )
    made = movie.moov.need(b"mvhd").body[4:12]
    found = {
        "creation date": any(made[: 4 if movie.moov.need(b"mvhd").body[0] == 0 else 8]),
        "place": any(mark in notes for mark in (b"\xa9xyz", b"loci", b"ISO6709")),
        "rotation": head[-44:-8] != _UPRIGHT,
        "colour tags": b"colr" in picture.entry,
        "HDR tags": any(mark in picture.entry for mark in (b"mdcv", b"clli", b"dvcC", b"dvvC")),
    }
    return tuple(name for name, there in found.items() if there)


def stores_samples(track: Track) -> bool:
    """Whether a sound track holds plain samples."""
    return track.entry[:4] in _PCM


def keep_hdr_tags(old: bytes, track: Track) -> None:
    """Give pictures that were coded anew the tags of light that the old description had."""
    stsd = track.stbl.need(b"stsd")
    there = {box.kind for box in Box.inside(stsd.body[8 + _IN_ENTRY :])}
    lacking = [box for box in Box.inside(old[_IN_ENTRY - 4 :]) if box.kind in _LIGHT]
    more = b"".join(box.encoded() for box in lacking if box.kind not in there)
    size = struct.pack(">I", len(stsd.body) - 8 + len(more))
    stsd.body = stsd.body[:8] + size + stsd.body[12:] + more


def set_timecode(movie: Movie, track: Track, rate: Fraction, length: int, ticks: int) -> bytes:
    """Let a timecode track begin with the label that it had, and count at `rate` from there.

    QuickTime File Format, "Timecode Sample Description": flags at byte 20 of the entry, then
    ticks a second, ticks a frame, frames a second. Its one sample is the number of the first
    frame. Returns that sample; b'' where the track is of another form or cannot say the label.
    """
    stsd = track.stbl.need(b"stsd")
    if len(track.sizes) != 1 or track.sizes[0] != 4 or len(stsd.body) < 42:
        return b""
    with movie.path.open("rb") as file:
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
