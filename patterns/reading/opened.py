"""What a user says of a file, and a video from the moment that it is opened.

Its packets are gone through, and its first pictures decoded, while what makes something of them is
loaded: together that takes as long as decoding a few seconds.
"""

from __future__ import annotations

from collections.abc import Generator
from contextlib import closing
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from patterns.timing.cadence import Display
from patterns.video.description import Description
from patterns.video.probe import PacketScan, VideoInfo
from patterns.video.reader import THREADS, Bottom, Crop, Decoder, luma_decoder

if TYPE_CHECKING:
    from patterns.picture.arrays import UInt8Array
    from patterns.reading.reading import Kind
    from patterns.side_by_side import Progress

    Timed = tuple[Fraction, UInt8Array]  # a picture's time, and its luma


class Given(NamedTuple):
    """What the user says of a file; None for what is to be found out."""

    kind: Kind | None = None  # what it is
    capture_hz: Fraction | None = None  # pictures a second at which a recording was really taken
    display: Display | None = None  # the display that was filmed
    exposure_s: Fraction | None = None  # exposure of a photo, seconds

    @property
    def video(self) -> Kind | None:
        """What a video is then."""
        return self.kind or ("recording" if self.capture_hz or self.display else None)


class OpenVideo:
    """The luma of a video's pictures, whole or a part of each, as often as it is wanted.

    Where it may be a clip, the bottom of its pictures, where most strips lie, is decoded from when
    this is made; else whole pictures are. `close` ends what still runs.
    `threads`: as of `Decoder`.
    """

    def __init__(
        self, path: Path, given: Given, progress: Progress | None, *, threads: int = THREADS
    ) -> None:
        self._path, self.progress, self.threads = path, progress, threads
        self.asked = given.video
        # whether `first` gives the bottom of pictures
        self.bottom_first = self.asked in (None, "clip")
        self.told = Description()  # what the decoder that is read says of the file
        part = Bottom() if self.bottom_first else None
        self._begun = luma_decoder(path, crop=part, threads=threads, told=self.told)
        try:
            self._scan = PacketScan(path)
        except BaseException:
            self._begun.close()
            raise

    def close(self) -> None:
        """End what runs; harmless if nothing does."""
        self._begun.close()
        self._scan.close()

    @cached_property
    def info(self) -> VideoInfo:
        """What its packets tell. Raises `InputError` as `probe`."""
        return self._scan.info()

    def first(self) -> Generator[Timed]:
        """Times and pictures, or their bottoms, as they are decoded from the beginning."""
        return self._show(self._begun)

    def read(self, first: int = 0, crop: Crop | None = None) -> Generator[Timed]:
        """Times and pictures from the `first` on."""
        self.told = Description()
        decoder = luma_decoder(self._path, crop=crop, threads=self.threads, told=self.told)
        return self._show(decoder, first)

    def _show(self, decoder: Decoder, first: int = 0) -> Generator[Timed]:
        count = self.info.pictures
        with closing(decoder.pictures()) as timed:
            for place, picture in enumerate(timed):
                if place >= first:
                    yield picture
                    if self.progress is not None:
                        self.progress(min(place + 1, count), count)
