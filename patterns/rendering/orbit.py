"""Frames of the orbit: one atlas read along azimuth at a moving place.

What a pixel sees never changes but for its bearing, so each pixel keeps a row of the
atlas and a place in it; a frame adds one offset to a row and reads two texels.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from math import pi, radians

import numpy as np
import numpy.typing as npt

from patterns.clip import Clip
from patterns.rendering.light import code_to_light, light_to_code
from patterns.rendering.orbit_atlas import Surface, build_atlas
from patterns.rendering.orbit_plan import RowPlan, plan_rows
from patterns.rendering.orbit_view import EDGE_GRID, Samples, look
from patterns.rendering.planes import Planes, UInt8Array
from patterns.scenes.country import Country
from patterns.scenes.motion import OrbitMotion
from patterns.scenes.orbit import FAR_GROUND, NEAR_GROUND, SUBJECT, WALL, OrbitCamera, Seen
from patterns.scenes.orbit_ground import OrbitGround
from patterns.scenes.orbit_hills import OrbitWall
from patterns.scenes.orbit_subjects import OrbitSubject

__all__ = ["OrbitRenderer"]

Ints = npt.NDArray[np.int64]
Texels = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]

SUBTEXELS = 128  # a place is kept to this part of a texel
BLOCK = 16384  # pixels at once: the working arrays stay in cache
THREADS = 2
COARSER = 1.6  # the country's samples lie this many pixels apart, where they lie densest


class _Reader:
    """Reads one plane's texels for a list of samples, between texels linearly."""

    def __init__(self, seen: Seen, row: Ints, plan: RowPlan, first_texel: Ints) -> None:
        per_radian = plan.texels / (2 * pi)
        place = seen.azimuth * per_radian[row] - 0.5 - first_texel[row]
        self._place = np.rint(place * SUBTEXELS).astype(np.int64)
        self._row = row
        self._where = np.empty(BLOCK, np.int64)
        self._part = np.empty(BLOCK, np.int16)
        self._low, self._high = np.empty(BLOCK, np.int16), np.empty(BLOCK, np.int16)

    def __len__(self) -> int:
        return len(self._row)

    def read(self, texels: Texels, offset: Ints, out: list[UInt8Array]) -> None:
        """Fill flat `out` from rows that begin at `offset` (texels x SUBTEXELS).

        `texels` holds a byte for luma, or two (uint16) for Cb and Cr and two planes out.
        """
        beside = texels[1:]
        for begin in range(0, len(self), BLOCK):
            end = min(begin + BLOCK, len(self))
            n = end - begin
            where, part = self._where[:n], self._part[:n]
            np.take(offset, self._row[begin:end], out=where, mode="clip")
            where += self._place[begin:end]
            np.bitwise_and(where, SUBTEXELS - 1, out=part, casting="unsafe")
            where >>= 7
            first = texels.take(where, mode="clip")
            second = beside.take(where, mode="clip")
            if len(out) == 1:
                self._mix(first, second, part, out[0][begin:end])
                continue
            self._mix(first & 255, second & 255, part, out[0][begin:end])
            self._mix(first >> 8, second >> 8, part, out[1][begin:end])

    def _mix(
        self,
        first: npt.NDArray[np.integer],
        second: npt.NDArray[np.integer],
        part: npt.NDArray[np.int16],
        out: UInt8Array,
    ) -> None:
        low, high = self._low[: len(out)], self._high[: len(out)]
        np.copyto(low, first, casting="unsafe")
        np.copyto(high, second, casting="unsafe")
        high -= low
        high *= part
        high += SUBTEXELS // 2
        high >>= 7
        high += low
        np.copyto(out, high, casting="unsafe")


class OrbitRenderer:
    """Draws the orbit of a clip into pictures of `width` x `height` pixels, both even.

    Raises
    ------
    RequestError
        The circle runs through the subject.
    """

    def __init__(self, clip: Clip, width: int, height: int) -> None:
        assert isinstance(clip.motion, OrbitMotion)
        self._clip, self._motion = clip, clip.motion
        subject = OrbitSubject(clip.motion.subject, clip.seed)
        camera = OrbitCamera.of(clip.motion, subject.profile, width, height)
        with ThreadPoolExecutor(THREADS) as pool:
            # The country does not depend on the camera: it is laid out meanwhile.
            country = pool.submit(Country, clip.seed)
            luma, chroma = look(camera, 1, pool), look(camera, 2, pool)
        self._plan, self._rows = plan_rows(
            [(luma.seen, 0), (luma.edge_seen, 0), (chroma.seen, 1), (chroma.edge_seen, 1)]
        )
        self._samples: tuple[Samples, Samples] = (luma, chroma)
        self._surfaces = _surfaces(clip.seed, country.result(), camera.up_m, subject, self._plan)
        ends = [self._turned(n) for n in (0, clip.frames - 1)]
        self._build(min(ends), max(ends))
        self._edges = [(samples.edges, len(samples.edges)) for samples in self._samples]
        self._light = code_to_light(np.arange(256))

    def _turned(self, n: int) -> Fraction:
        """Degrees that the world has turned at frame `n`, exact."""
        return Fraction(self._motion.turn_deg_s * n / self._clip.rate)

    def _build(self, least: Fraction, greatest: Fraction) -> None:
        self._whole = greatest - least >= 360
        if self._whole:
            least, greatest = Fraction(0), Fraction(360)
        self._range = (least, greatest)
        turn = (radians(least), radians(greatest))
        exposure = radians(abs(self._motion.turn_deg_s * self._clip.exposure_s))
        ground = self._surfaces.get(NEAR_GROUND)
        if isinstance(ground, OrbitGround):
            _prepare(ground, self._plan, turn, exposure)
        self._atlas = build_atlas(self._plan, self._surfaces, turn, exposure, threads=THREADS)
        seen = [s for samples in self._samples for s in (samples.seen, samples.edge_seen)]
        self._readers = [
            _Reader(what, row, self._plan, self._atlas.first_texel)
            for what, row in zip(seen, self._rows, strict=True)
        ]

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        turned = self._turned(n)
        if self._whole:
            turned %= 360
        elif not self._range[0] <= turned <= self._range[1]:
            self._build(Fraction(0), Fraction(360))
            turned %= 360
        texels = np.rint(self._plan.texels * (float(turned / 360) * SUBTEXELS)).astype(np.int64)
        offset = self._atlas.start * SUBTEXELS + texels
        pairs = self._atlas.chroma.view(np.uint16).ravel()
        y, cb, cr = (plane.reshape(-1) for plane in (picture.y, picture.cb, picture.cr))
        self._readers[0].read(self._atlas.luma, offset, [y])
        self._readers[2].read(pairs, offset, [cb, cr])
        self._draw_edges(offset, pairs, (y, cb, cr))

    def _draw_edges(
        self, offset: Ints, pairs: npt.NDArray[np.uint16], planes: tuple[UInt8Array, ...]
    ) -> None:
        """Pixels across which the subject ends: the mean of their finer samples' light."""
        fine = EDGE_GRID * EDGE_GRID
        codes = np.empty(len(self._readers[1]), np.uint8)
        self._readers[1].read(self._atlas.luma, offset, [codes])
        light = self._light.take(codes).reshape(-1, fine).mean(axis=1)
        planes[0][self._edges[0][0]] = light_to_code(light)
        pair = [np.empty(len(self._readers[3]), np.uint8) for _ in range(2)]
        self._readers[3].read(pairs, offset, pair)
        for plane, values in zip(planes[1:], pair, strict=True):
            total = values.reshape(-1, fine).sum(axis=1, dtype=np.uint16)
            plane[self._edges[1][0]] = ((total + fine // 2) // fine).astype(np.uint8)


def _surfaces(
    seed: int, country: Country, up_m: float, subject: OrbitSubject, plan: RowPlan
) -> dict[int, Surface]:
    surfaces: dict[int, Surface] = {
        WALL: OrbitWall(seed, up_m),
        SUBJECT: subject,
    }
    ground = (plan.coarse == 0) & np.isin(plan.surface, (NEAR_GROUND, FAR_GROUND))
    if ground.any():
        radii = plan.across[ground] + plan.across_span[ground]
        along = plan.azimuth_span[ground] * plan.across[ground]
        needs = np.minimum(np.sqrt(along * plan.across_span[ground]), 4 * along)
        surfaces[NEAR_GROUND] = surfaces[FAR_GROUND] = OrbitGround(
            country, seed, subject.profile, radii, COARSER * needs
        )
    return surfaces


def _prepare(
    ground: OrbitGround, plan: RowPlan, turn: tuple[float, float], exposure: float
) -> None:
    # A row beside the axis sees all round; the far ground only what the lens takes in.
    with ThreadPoolExecutor(THREADS) as pool:
        for surface in (NEAR_GROUND, FAR_GROUND):
            mine = plan.surface == surface
            if mine.any():
                span = plan.across_span[mine]
                reach = exposure / 2 + 2 * plan.azimuth_span[mine]
                ground.prepare(
                    (plan.across[mine] - span, plan.across[mine] + span),
                    (plan.first[mine] + turn[0] - reach, plan.last[mine] + turn[1] + reach),
                    pool,
                )
