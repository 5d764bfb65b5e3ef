"""What a presentation is asked to hold, checked before anything is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Literal

from patterns.drawing.style import DARK, LIGHT, Scheme
from patterns.errors import RequestError
from patterns.present.animation import FormatName
from patterns.present.panel import LayoutName
from patterns.present.split_spec import SceneChoice, SplitSpec, conform_panels, rate_panels
from patterns.timing.cadence import Cadence, Display, cadence
from patterns.timing.notation import joined
from patterns.timing.rates import format_decimal
from patterns.timing.shutter import USUAL_SHUTTER, Shutter
from patterns.video.codecs import codec_named

Part = Literal["split", "conform", "stills", "animation", "demo"]
SHAKE_PX = 4  # at 1080 rows, in the worst panel: what the last row of a room can see (our choice)


@dataclass(frozen=True)
class TalkRequest:
    """A presentation."""

    folder: Path  # where its files go
    rates: tuple[Fraction, ...] = (Fraction(24), Fraction(30))  # two to four rates to compare
    display: Display = field(default_factory=lambda: Display.fixed(60))  # at one fixed refresh
    pattern: str = "bars"  # what moves, and what chooses the land and what stands on it
    seed: int = 1
    # speeds by pattern, as its option has them; others are made so fast that they shake to see
    paces: Mapping[str, Fraction] = field(default_factory=dict)
    # how panels lie; None: side by side, four in a grid, stacked in an upright picture
    layout: LayoutName | None = None
    shutter: Shutter = USUAL_SHUTTER
    footage: Fraction = Fraction(24)  # rates of the conform demonstration
    timeline: Fraction = Fraction(30)
    slow: int = 1  # how often each refresh is repeated
    seconds: Fraction = Fraction(8)  # length of the scene in clips, before slowing
    width: int = 1920  # of the clips
    height: int = 1080
    codec: str = "h264"
    clip_colours: Scheme = DARK  # schemes
    still_colours: Scheme = LIGHT
    strip: bool = False  # whether each panel has the counting strip that programs read
    formats: tuple[FormatName, ...] = ("webp",)  # animated pictures to make
    force: bool = False  # whether files are replaced
    allow_flashing: bool = False  # whether what exceeds a limit for flashes is kept

    def __post_init__(self) -> None:
        if self.display.is_variable:
            raise RequestError(
                f"display {self.display.name} is a range, and a split clip imitates one refresh: "
                "give --display 60 or another single number"
            )
        if not 2 <= len(self.rates) <= 4 or len(set(self.rates)) != len(self.rates):
            raise RequestError(
                "two to four different rates are compared, not "
                f"{self.rates_words}: try --rates 24,30"
            )

    @property
    def refresh_hz(self) -> Fraction:
        """Refreshes a second of the display."""
        return self.display.highest_hz

    @property
    def cadences(self) -> tuple[Cadence, ...]:
        """Cadence of each rate on the display."""
        return tuple(cadence(rate, self.display) for rate in self.rates)

    @property
    def suffix(self) -> str:
        """Ending of the clips' names."""
        return codec_named(self.codec).suffix

    @property
    def rates_words(self) -> str:
        """'24, 25 and 30'."""
        return joined([format_decimal(rate) for rate in self.rates])

    @property
    def rates_name(self) -> str:
        """Part of file names, '24-30-on-60hz'."""
        rates = "-".join(format_decimal(rate) for rate in self.rates)
        return f"{rates}-on-{format_decimal(self.refresh_hz)}hz"

    @property
    def _level(self) -> LayoutName:
        return "grid" if len(self.rates) == 4 else "side"

    def split(
        self,
        *,
        pattern: str | None = None,
        layout: LayoutName | None = None,
        slow: int | None = None,
        seconds: Fraction | None = None,
    ) -> SplitSpec:
        """Split clip of the rates, with other choices where they are given."""
        upright: LayoutName = "stacked" if self.height > self.width else self._level
        chosen = layout or self.layout or upright
        across = {"side": len(self.rates), "grid": 2, "line": 1, "stacked": 1}[chosen]
        spec = SplitSpec(
            panels=rate_panels(self.rates, self.refresh_hz, self.shutter),
            scene=self._scene(pattern or self.pattern, across),
            refresh_hz=self.refresh_hz,
            layout=chosen,
            width=self.width,
            height=self.height,
            seconds=self.seconds if seconds is None else seconds,
            slow=self.slow if slow is None else slow,
            colours=self.clip_colours,
            strip=self.strip,
        )
        return replace(spec, scene=self._shaking(spec))

    def _scene(self, name: str, across: int) -> SceneChoice:
        """Scene of a pattern in a picture beside which others lie, `across` in all."""
        return SceneChoice(name, self.paces.get(name), self.seed, across)

    def _shaking(self, spec: SplitSpec) -> SceneChoice:
        """Scene of a clip, so fast that its worst panel shakes by `SHAKE_PX` at 1080 rows."""
        span_s = max(cadence.timing_error_span_s for cadence in self.cadences)
        if not span_s or spec.scene.pattern in self.paces:
            return spec.scene
        shake_px = SHAKE_PX * min(spec.width / 1920, spec.height / 1080)
        scene = spec.scene.at_least(shake_px / float(span_s), *spec.scene_size)
        return scene.closed(self.seconds)

    def conform(self) -> SplitSpec:
        """Conform demonstration: four panels in a grid."""
        by_angle = Shutter(self.shutter.angle_deg)  # one time would not fit all of the rates
        panels = conform_panels(self.footage, self.timeline, self.refresh_hz, by_angle)
        scene = self._scene(self.pattern, 2)
        return replace(self.split(), panels=panels, layout="grid", scene=scene)

    def animated(self, slow: int) -> SplitSpec:
        """Split clip as small as an animated picture should be."""
        few = len(self.rates) == 2
        width, height = (960, 540) if few else (1280, 720)
        layout = self.layout if few and self.layout else self._level
        return replace(self.split(layout=layout, slow=slow), width=width, height=height)
