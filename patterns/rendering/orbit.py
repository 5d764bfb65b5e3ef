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
from patterns.rendering.orbit_atlas import Atlas, Surface, build_atlas
from patterns.rendering.orbit_plan import RowPlan, plan_rows
from patterns.rendering.orbit_view import EDGE_GRID, look
from patterns.rendering.planes import Planes, UInt8Array
from patterns.scenes.country import Country
from patterns.scenes.motion import OrbitMotion
from patterns.scenes.orbit import FAR_GROUND, NEAR_GROUND, SUBJECT, WALL, OrbitCamera
from patterns.scenes.orbit_ground import OrbitGround
from patterns.scenes.orbit_hills import OrbitWall
from patterns.scenes.orbit_subjects import OrbitSubject

__all__ = ["OrbitRenderer"]

Ints = npt.NDArray[np.int64]
Pairs = npt.NDArray[np.uint16] | npt.NDArray[np.uint32]

SUBTEXEL_BITS = 7
SUBTEXELS = 1 << SUBTEXEL_BITS  # a place is kept to this part of a texel
BLOCK = 32768  # pixels at once: the working arrays stay in cache
THREADS = 2
COARSER = 1.6  # the country's samples lie this many pixels apart, where they lie densest


class _Reader:
    """Reads one plane's texels for a list of samples, between texels linearly.

    A sample keeps its place in the atlas, and the number of its rows' texels to a turn:
    all rows with the same number move by the same offset.
    """

    def __init__(
        self, azimuth: npt.NDArray[np.floating], row: Ints, plan: RowPlan, atlas: Atlas
    ) -> None:
        per_radian = (plan.texels / (2 * pi)).astype(np.float32)
        place = azimuth * per_radian[row] - (atlas.first_texel + 0.5).astype(np.float32)[row]
        self._place = np.rint(place * SUBTEXELS).astype(np.int64)
        self._place += (atlas.start * SUBTEXELS)[row]
        self._group = np.unique(plan.texels, return_inverse=True)[1].astype(np.uint8)[row]

    def __len__(self) -> int:
        return len(self._place)

    def read(self, pairs: Pairs, offsets: Ints, out: list[UInt8Array]) -> None:
        """Fill flat `out`: one plane from luma's pairs, or two from chroma's.

        `offsets` is how far each group has moved, in texels x SUBTEXELS.
        """
        where, part = np.empty(BLOCK, np.int64), np.empty((BLOCK, len(out)), np.int16)
        group = np.empty(BLOCK, np.intp)
        found = np.empty(BLOCK, pairs.dtype)
        for begin in range(0, len(self), BLOCK):
            end = min(begin + BLOCK, len(self))
            n = end - begin
            np.copyto(group[:n], self._group[begin:end])
            np.take(offsets, group[:n], out=where[:n], mode="clip")
            where[:n] += self._place[begin:end]
            for column in range(len(out)):
                np.bitwise_and(where[:n], SUBTEXELS - 1, out=part[:n, column], casting="unsafe")
            where[:n] >>= SUBTEXEL_BITS
            np.take(pairs, where[:n], out=found[:n], mode="clip")
            mixed = _mix(found[:n].view(np.uint16), part[:n].reshape(-1))
            for column, plane in enumerate(out):
                np.copyto(plane[begin:end], mixed[column :: len(out)], casting="unsafe")


def _mix(pair: npt.NDArray[np.uint16], part: npt.NDArray[np.int16]) -> npt.NDArray[np.int16]:
    """Code between the two of each pair (low byte first), at `part` of SUBTEXELS."""
    low = np.bitwise_and(pair, 255).view(np.int16)
    high = np.right_shift(pair, 8).view(np.int16)
    high -= low
    high *= part
    high += SUBTEXELS // 2
    high >>= SUBTEXEL_BITS
    high += low
    return high


class OrbitRenderer:
    """Draws the orbit of a clip into pictures of `width` x `height` pixels, both even.

    The atlas holds the bearings that the clip's frames see, or all with `whole_turn`.

    Raises
    ------
    RequestError
        The circle runs through the subject.
    """

    def __init__(self, clip: Clip, width: int, height: int, *, whole_turn: bool = False) -> None:
        assert isinstance(clip.motion, OrbitMotion)
        self._motion, self._rate, self._seed = clip.motion, clip.rate, clip.seed
        self._exposure_s, self._size = clip.exposure_s, (width, height)
        self._clip = clip
        self._other: OrbitRenderer | None = None
        ends = [self._turned(n) for n in (0, clip.frames - 1)]
        self._light = code_to_light(np.arange(256))
        if whole_turn:
            ends = [Fraction(0), Fraction(360)]
        self._open(min(ends), max(ends))

    def _turned(self, n: int) -> Fraction:
        """Degrees that the world has turned at frame `n`, exact."""
        return Fraction(self._motion.turn_deg_s * n / self._rate)

    def _open(self, least: Fraction, greatest: Fraction) -> None:
        """Build the atlas for turns from `least` to `greatest` degrees."""
        self._whole = greatest - least >= 360
        if self._whole:
            least, greatest = Fraction(0), Fraction(360)
        self._range = (least, greatest)
        subject = OrbitSubject(self._motion.subject, self._seed)
        camera = OrbitCamera.of(self._motion, subject.profile, *self._size)
        with ThreadPoolExecutor(THREADS) as pool:
            # The country does not depend on the camera: it is laid out meanwhile.
            country = pool.submit(Country, self._seed)
            luma, chroma = look(camera, 1, pool), look(camera, 2, pool)
        self._edges = (luma.edges, chroma.edges)
        seen = [luma.seen, luma.edge_seen, chroma.seen, chroma.edge_seen]
        plan, rows = plan_rows(list(zip(seen, (0, 0, 1, 1), strict=True)))
        # Only the azimuths are still needed; the rest is most of the memory in use.
        azimuths = [what.azimuth for what in seen]
        del seen, luma, chroma
        surfaces = _surfaces(self._seed, country.result(), camera.up_m, subject, plan)
        del country
        turn = (radians(least), radians(greatest))
        exposure = radians(abs(self._motion.turn_deg_s * self._exposure_s))
        ground = surfaces.get(NEAR_GROUND)
        if isinstance(ground, OrbitGround):
            _prepare(ground, plan, turn, exposure)
        self._atlas = build_atlas(plan, surfaces, turn, exposure, threads=THREADS)
        self._texels = np.unique(plan.texels)
        self._readers = [
            _Reader(azimuth, row, plan, self._atlas)
            for azimuth, row in zip(azimuths, rows, strict=True)
        ]

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        turned = self._turned(n)
        if not self._whole and not self._range[0] <= turned <= self._range[1]:
            self._further().draw(n, picture)
            return
        if self._whole:
            turned %= 360
        offsets = np.rint(self._texels * (float(turned / 360) * SUBTEXELS)).astype(np.int64)
        luma, chroma = self._atlas.luma, self._atlas.chroma
        y, cb, cr = (plane.reshape(-1) for plane in (picture.y, picture.cb, picture.cr))
        self._readers[0].read(luma, offsets, [y])
        self._readers[2].read(chroma, offsets, [cb, cr])
        self._draw_edges(offsets, (y, cb, cr))

    def _further(self) -> OrbitRenderer:
        """Renderer of a whole turn, for frames outside the clip.

        One of its own: a frame inside the clip is the same whatever was drawn before it.
        """
        if self._other is None:
            self._other = OrbitRenderer(self._clip, *self._size, whole_turn=True)
        return self._other

    def _draw_edges(self, offsets: Ints, planes: tuple[UInt8Array, ...]) -> None:
        """Pixels across which the subject ends: the mean of their finer samples' light."""
        fine = EDGE_GRID * EDGE_GRID
        codes = np.empty(len(self._readers[1]), np.uint8)
        self._readers[1].read(self._atlas.luma, offsets, [codes])
        light = self._light.take(codes).reshape(-1, fine).mean(axis=1)
        planes[0][self._edges[0]] = light_to_code(light)
        both = [np.empty(len(self._readers[3]), np.uint8) for _ in range(2)]
        self._readers[3].read(self._atlas.chroma, offsets, both)
        for plane, values in zip(planes[1:], both, strict=True):
            total = values.reshape(-1, fine).sum(axis=1, dtype=np.uint16)
            plane[self._edges[1]] = ((total + fine // 2) // fine).astype(np.uint8)


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
