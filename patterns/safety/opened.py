"""A video that is checked, from the moment that it is opened.

Its first pictures are decoded while what looks at them is loaded.
"""

from __future__ import annotations

from collections.abc import Generator
from contextlib import closing
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from patterns.safety.viewing import FINE, Grid
from patterns.video.description import Description
from patterns.video.probe import PacketScan, VideoInfo
from patterns.video.reader import THREADS, Decoder, Matrix, ycbcr_decoder

if TYPE_CHECKING:
    from patterns.picture.arrays import UInt8Array


class OpenVideo:
    """The pictures of a video, averaged down by the decoder, so that little leaves it.

    They have `FINE` by `FINE` places for each cell of the grid. `close` ends what still runs.
    `threads`: as of `Decoder`.
    """

    def __init__(self, path: Path, *, threads: int = THREADS) -> None:
        self._path, self.threads = path, threads
        self.told = Description()  # what the decoder says as it reads the file for the first time
        self._scan = PacketScan(path)
        self._begun: Decoder | None = None
        try:
            self._begun = self._decoder(self.told)
        except BaseException:
            self._scan.close()
            raise

    def close(self) -> None:
        """End what runs; harmless if nothing does."""
        self._scan.close()
        if self._begun is not None:
            self._begun.close()

    @cached_property
    def info(self) -> VideoInfo:
        """What its packets tell. Raises `InputError` as `probe`."""
        return self._scan.info()

    def read(self) -> Generator[tuple[Fraction, UInt8Array]]:
        """Times and pictures of `ycbcr_decoder`, from the beginning, as often as it is called."""
        decoder, self._begun = self._begun or self._decoder(), None
        if decoder is not None:
            with closing(decoder.pictures()) as pictures:
                yield from pictures

    def _decoder(self, told: Description | None = None) -> Decoder | None:
        packets = self._scan.described()
        if packets.stream is None:  # which `info` says
            return None
        width, height = packets.upright_size
        grid = Grid.of(width, height)
        size = (grid.columns * FINE, grid.rows * FINE)
        matrix = _matrix(packets.stream.matrix, min(width, height))
        return ycbcr_decoder(self._path, size, matrix, threads=self.threads, told=told)


def _matrix(named: str, short_side: int) -> Matrix:
    """Matrix that the file names, else what its size suggests (common practice, no source)."""
    if named.startswith("bt2020"):
        return "bt2020"
    small = not named and short_side < 720
    return "bt601" if small or named in ("smpte170m", "bt470bg") else "bt709"
