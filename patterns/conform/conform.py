"""One file conformed: every frame plays once, at exactly n / rate, without being coded anew."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Literal

from patterns.conform.footage import Footage, Request, SoundChoice, Stage, bytes_of
from patterns.conform.movie import (
    Movie,
    Piece,
    is_plain_movie,
    pieces_of,
    stated_level,
    write_movie,
)
from patterns.conform.steps import Sound, pack_again, picture_codec, retime_sound, take_repeats_out
from patterns.conform.track import Track
from patterns.errors import EncoderError, InputError, RequestError
from patterns.timing.conform import Conform
from patterns.timing.rates import format_decimal, format_rate
from patterns.video.codecs import CODECS, ticks_per_second
from patterns.video.probe import PacketScan, VideoInfo
from patterns.whole_file import Claims, PartialFile, make_folder

_MOVIES = (".mp4", ".m4v", ".mov", ".qt")
CUT_S = Fraction(1, 10)  # of sound that is named: coding pads it by less


@dataclass(frozen=True)
class Conformed:
    """What was done to one file."""

    target: Path  # the file that was written
    conform: Conform  # its rate before and after
    sound: SoundChoice | Literal["none"]  # what became of the sound; 'none' if there was none
    # kept, lost: tags and tracks that went along, and those that did not
    kept: tuple[str, ...]
    lost: tuple[str, ...]


def name_of_result(source: Path, footage: Footage, rate: Fraction) -> str:
    """'tarn-orbit-30fps.mp4': says at which rate it plays."""
    suffix = source.suffix.lower() if source.suffix.lower() in _MOVIES else ".mp4"
    if footage.rhythm:
        suffix = CODECS[picture_codec(footage.info)].suffix
    return f"{source.stem}-{format_decimal(rate)}fps{suffix}"


@dataclass
class Results:
    """Where the results of a run go: into a folder, or that of a single source under its name.

    Raises `RequestError`: one name for several sources, or one that is no movie's.
    """

    out: Path
    sources: Sequence[Path]
    claims: Claims = field(default_factory=Claims)

    def __post_init__(self) -> None:
        self.is_file = bool(self.out.suffix) and not self.out.is_dir()
        if self.is_file and self.out.suffix.lower() not in _MOVIES:
            raise RequestError(
                f"--out {self.out}: a result is named {', '.join(_MOVIES)}; a folder with a dot "
                "in its name must be there already"
            )
        if self.is_file and len(self.sources) > 1:
            raise RequestError(
                f"--out {self.out} names one file, and {len(self.sources)} are given: give a folder"
            )

    def place(self, source: Path, footage: Footage, rate: Fraction) -> Path:
        """Path for the result of a source; its folder is made.

        Raises `RequestError`: it is the result of another one already.
        Raises `OutputError`: the folder cannot be made.
        """
        if self.is_file:
            return self.out
        make_folder(self.out)
        target = self.claims.claim(self.out / name_of_result(source, footage, rate), source)
        if any(_are_one(target, other) for other in self.sources):
            raise RequestError(
                f"{source} would become {target}, which is an original: give another --out for it"
            )
        return target


def _are_one(path: Path, other: Path) -> bool:
    """Whether two names are of one file that is there, whatever the system holds for the same."""
    return path.exists() and other.exists() and path.samefile(other)


def conform_file(
    source: Path, target: Path, footage: Footage, request: Request, stage: Stage
) -> Conformed:
    """Write `source`, of which `look_at` gave `footage`, at the rate of the request.

    Raises `RequestError`: there is nothing to do; the target is the source, or exists.
    Raises `InputError`, `OutputError`, `EncoderError`: the source cannot be read, the target not
    written, ffmpeg failed.
    """
    conform = Conform(footage.rate, request.rate or footage.rate)
    if conform.speed == 1 and not footage.rhythm and _exact(footage.info):
        raise RequestError(
            f"{source} plays at {format_rate(footage.rate)} fps already, each frame at its exact "
            "time: use it as it is"
        )
    if _are_one(target, source):
        raise RequestError(f"{target} is the original, which stays as it is: give another --out")
    with ExitStack() as stack:
        return _Work(source, target, footage, conform, request, stage, stack).done()


def _exact(info: VideoInfo) -> bool:
    rate = info.rate
    return rate is not None and all(t == n / rate for n, t in enumerate(info.times))


@dataclass
class _Work:
    """The steps of one conform, with the hidden files that some leave to the next ones."""

    source: Path
    target: Path
    footage: Footage
    conform: Conform
    request: Request
    stage: Stage
    stack: ExitStack
    lost: list[str] = field(default_factory=list)
    pieces: dict[int, list[Piece]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.rate = self.conform.timeline
        self.ticks = ticks_per_second(self.rate)
        self.length_s = self.footage.frames / self.rate
        self.length = int(self.length_s * self.ticks)

    def done(self) -> Conformed:
        """Carry them out, and give the result its name last."""
        result = self._hidden(force=self.request.force)
        movie = self.movie = self._taken_apart()
        kept = movie.kept_tags()
        self._look_for_longer_sound()
        more = self._retime_others()
        self._retime_picture()
        sound = self._retime_sound()
        with self.stage("writing") as show, result.path.open("r+b") as out:
            write_movie(movie, self.pieces, out, self.length, self.ticks, show)
        self._check(result.path)
        result.publish()
        return Conformed(self.target, self.conform, sound, (*kept, *more), tuple(self.lost))

    def _hidden(self, *, force: bool = True) -> PartialFile:
        partial = PartialFile(self.target, force=force)
        self.stack.callback(partial.discard)
        return partial

    def _taken_apart(self) -> Movie:
        if is_plain_movie(self.source):
            return Movie.read(self.source)
        packed = self._hidden().path
        with self.stage("packing") as show:
            pack_again(self.source, packed, self._muxer, show)
        self.lost.append("what only its own kind of file holds: chapters, subtitles, data, tags")
        return Movie.read(packed)

    @property
    def _muxer(self) -> str:
        return "mov" if self.target.suffix.lower() in (".mov", ".qt") else "mp4"

    def _retime_others(self) -> list[str]:
        """Timecode, subtitles, data and further pictures: names of what goes along."""
        kept = []
        for track in [t for t in self.movie.tracks if t is not self.movie.picture]:
            if track.kind == b"soun":
                continue
            name, pieces = self._retimed(track)
            if pieces:
                kept.append(name)
                self.pieces[track.number] = pieces
            else:
                self.movie.remove(track)
                self.lost.append(f"{name}: its form cannot say the new times")
        return kept

    def _retimed(self, track: Track) -> tuple[str, list[Piece]]:
        """Name of a track, and its samples; none where it cannot be retimed."""
        if track.kind == b"tmcd":
            first = self.movie.set_timecode(track, self.rate, self.length, self.ticks)
            return "timecode", [Piece(0.0, first, 0, len(first))] if first else []
        if not track.set_speed(self.conform.speed, self.ticks):
            return "data track", []
        return "data track", pieces_of(track, self.movie.path)

    def _retime_picture(self) -> None:
        old = picture = self.movie.picture
        held = self.movie.path
        if self.footage.rhythm:
            held = self._hidden().path
            with self.stage("taking repeats out") as show:
                take_repeats_out(self.source, held, self.footage.info, self.footage.rhythm, show)
            coded = Movie.read(held)
            picture = old.with_pictures_of(coded.picture)
            self.movie.tracks[self.movie.tracks.index(old)] = picture
            self.movie.brand = coded.brand
            self.lost.append(
                f"the coding: pictures are coded anew, as {picture_codec(self.footage.info)}"
            )
        shown = picture.set_rate(self.rate, self.ticks)
        if shown != self.footage.frames:
            raise InputError(
                f"{self.source} has {self.footage.frames} pictures by its decoder and {shown} by "
                "its index: it is damaged, or cut by an edit list; export it anew"
            )
        self._look_at_level(picture)
        self.pieces[picture.number] = pieces_of(picture, held)

    def _look_at_level(self, picture: Track) -> None:
        """Name the level that the stream states, where size and new rate ask for a higher one."""
        stated = stated_level(picture.entry)
        if stated is None:
            return
        codec, number = stated
        info = self.footage.info
        try:
            needed = CODECS[codec].level(info.width, info.height, self.rate)
        except RequestError:
            needed = None
        lowest = CODECS[codec].levels[0]  # of the table: which one below it would do is not known
        if needed is None or (needed != lowest and float(needed.number) > number):
            asks = "is beyond all levels" if needed is None else f"asks for {needed.number}"
            self.lost.append(
                f"the level: {format_decimal(self.rate)} fps at this size {asks}, the stream "
                f"states {number:g}; a device that goes by it may not play the file: try it there"
            )

    def _look_for_longer_sound(self) -> None:
        """Name the sound that has no pictures: the result ends with these."""
        shown_s = self.movie.picture.shown_s
        beyond_s = max((t.shown_s - shown_s for t in self.movie.of_kind(b"soun")), default=CUT_S)
        if beyond_s > CUT_S and self.request.sound != "drop":
            self.lost.append(
                f"the last {format_decimal(beyond_s, 1)} s of the sound: there are no pictures"
            )

    def _retime_sound(self) -> SoundChoice | Literal["none"]:
        old = self.movie.of_kind(b"soun")
        choice = self.request.sound or "keep-pitch"
        for track in old:
            self.movie.remove(track)
        if not old or choice == "drop":
            return "drop" if old else "none"
        sound = Sound(choice == "keep-pitch", self._muxer == "mov" and old[0].is_pcm)
        held, start_s = self._hidden().path, self.footage.info.times[0]
        with self.stage("sound") as show:
            retime_sound(self.source, held, sound, self.conform.speed, start_s, self.length_s, show)
        for track, new in zip(old, Movie.read(held).of_kind(b"soun"), strict=False):
            new.lasts(self.length, self.ticks)
            self.movie.add(new, track.number)
            self.pieces[track.number] = pieces_of(new, held)
        return choice

    def _check(self, written: Path) -> None:
        """Read it again: every picture at exactly n / rate, of a source that stayed as it was."""
        if bytes_of(self.source) != self.footage.size:
            raise InputError(f"{self.source} changed while it was read: wait until it is complete")
        times = PacketScan(written).packets().times
        if list(times) != [n / self.rate for n in range(self.footage.frames)]:
            raise EncoderError(
                f"{self.target} would not have every picture at its exact time: nothing was kept; "
                "export the original anew"
            )
