"""What the checks found: frozen findings, their JSON and their text."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

from patterns.safety.viewing import Viewing
from patterns.timing.notation import plural

SCHEMA = "evenhold/safety 2"
DISCLAIMER = (
    "An aid, not a certificate: it can miss what hurts. Pictures for the public also need "
    "the test that the broadcaster, venue or local rules ask for."
)
MAX_FLASHES_PER_S = 3
EXTENDED = "extended flashes, 2 or more a second"
# Flashing for so much of so many seconds is extended: IRIS, an open analyser (BSD-3). ITU-R
# BT.1702-3 (second-hand quotation) calls more than 5 s a risk even when compliant.
EXTENDED_S, EXTENDED_WINDOW_S = Fraction(4), Fraction(5)
EXTENDED_CAUTION = (
    "Two or more flashes a second go on for about 5 s, which may be a risk even within the limits."
)

Interval = tuple[Fraction, Fraction]


def _seconds(value: Fraction) -> float:
    return round(float(value), 6)


def _intervals_json(intervals: tuple[Interval, ...]) -> list[list[float]]:
    return [[_seconds(start), _seconds(end)] for start, end in intervals]


class FlashFinding(NamedTuple):
    """One flash criterion."""

    # criterion, source: its name and where it is published
    criterion: str
    source: str
    exceeds: bool  # whether more than three flashes a second fell on more than the allowed area
    flashes_per_s: float  # most flashes within any one second over more than the allowed area
    # share, share_limit: largest share of the picture (for WCAG: within one 10 degree field) whose
    # places had more than three flashes within one second, summed whether they touch or not, and
    # the share that is allowed
    share: float
    share_limit: float
    # most time within any five seconds for which two or more flashes a second went on, on more than
    # the allowed area
    flashing_s: Fraction = Fraction(0)
    # when the limit was exceeded: from the first to the last change, seconds
    intervals: tuple[Interval, ...] = ()
    # when `flashes_per_s` was reached, or None if nothing flashed
    worst_time_s: Fraction | None = None
    extra: bool = False  # reported beside the criteria in force, but not counted in the verdict

    def to_json(self) -> dict[str, Any]:
        """Plain object; keys are documented in SAFETY.md."""
        return {
            "criterion": self.criterion,
            "source": self.source,
            "extra": self.extra,
            "exceeds": bool(self.exceeds),
            "flashes_per_second": self.flashes_per_s,
            "flashes_limit": MAX_FLASHES_PER_S,
            "flashes_margin": MAX_FLASHES_PER_S - self.flashes_per_s,
            "area": round(self.share, 5),
            "area_limit": round(self.share_limit, 5),
            "area_margin": round(self.share_limit - self.share, 5),
            "flashing_s": _seconds(self.flashing_s),
            "times_s": _intervals_json(self.intervals),
            "worst_time_s": None if self.worst_time_s is None else _seconds(self.worst_time_s),
        }


class StripeFinding(NamedTuple):
    """One criterion for regular stripes, at the moment that came nearest to it or beyond."""

    # criterion, source: its name and where it is published
    criterion: str
    source: str
    pairs_limit: int
    share_limit: float
    exceeds: bool = False  # whether the stripes are more, larger and brighter than it allows
    # pairs, pairs_limit: light-dark pairs of the largest stripes found, and how many are allowed
    pairs: float = 0.0
    # share, share_limit: their share of the picture, and the share from which the limit applies
    share: float = 0.0
    # light_cd_m2, dark_cd_m2: luminance of the lightest and the darkest stripe
    light_cd_m2: float = 0.0
    dark_cd_m2: float = 0.0
    # 'none' (no stripes found), 'stationary', 'drifting', 'reversing', 'oscillating' or 'flashing'
    motion: str = "none"
    normal_deg: float = 0.0  # direction across the stripes, degrees from x (0: upright stripes)
    intervals: tuple[Interval, ...] = ()  # when the limit was exceeded, seconds

    @property
    def contrast(self) -> float:
        """Michelson contrast (light - dark) / (light + dark)."""
        total = self.light_cd_m2 + self.dark_cd_m2
        return (self.light_cd_m2 - self.dark_cd_m2) / total if total else 0.0

    def to_json(self) -> dict[str, Any]:
        """Plain object; keys are documented in SAFETY.md."""
        return {
            "criterion": self.criterion,
            "source": self.source,
            "exceeds": bool(self.exceeds),
            "pairs": round(self.pairs, 2),
            "pairs_limit": self.pairs_limit,
            "pairs_margin": round(self.pairs_limit - self.pairs, 2),
            "area": round(self.share, 5),
            "area_limit": round(self.share_limit, 5),
            "area_margin": round(self.share_limit - self.share, 5),
            "light_cd_m2": round(self.light_cd_m2, 2),
            "dark_cd_m2": round(self.dark_cd_m2, 2),
            "contrast": round(self.contrast, 4),
            "motion": self.motion,
            "normal_deg": round(self.normal_deg, 1),
            "times_s": _intervals_json(self.intervals),
        }


class SafetyReport(NamedTuple):
    """Result of a check."""

    method: str  # 'pictures' (frames were looked at) or 'still' (one picture, stripes only)
    # width, height, frames, duration_s: what was checked
    width: int
    height: int
    frames: int
    duration_s: Fraction
    viewing: Viewing  # the viewing assumed
    # flashes, stripes: one finding for each criterion
    flashes: tuple[FlashFinding, ...]
    stripes: tuple[StripeFinding, ...]
    notes: tuple[str, ...] = ()  # remarks for a person, each one sentence

    @property
    def flashes_exceed(self) -> bool:
        """Whether a limit on flashes is exceeded."""
        return any(f.exceeds and not f.extra for f in self.flashes)

    @property
    def exceeded(self) -> tuple[str, ...]:
        """Names of the criteria that are exceeded."""
        flashes = tuple(f.criterion for f in self.flashes if f.exceeds and not f.extra)
        return flashes + tuple(s.criterion for s in self.stripes if s.exceeds)

    @property
    def passes(self) -> bool:
        """Whether no limit was exceeded."""
        return not self.exceeded

    @property
    def summary(self) -> str:
        """One plain sentence."""
        if self.passes:
            return "passes: no limit on flashes or stripes is exceeded"
        return f"EXCEEDS {len(self.exceeded)} limit(s): {', '.join(self.exceeded)}"

    def cautions(self) -> tuple[str, ...]:
        """Return the notes, with the one that follows from the findings."""
        extended = any(f.flashing_s >= EXTENDED_S for f in self.flashes)
        return (*self.notes, EXTENDED_CAUTION) if extended else self.notes

    def to_json(self) -> dict[str, Any]:
        """Plain object; keys are documented in SAFETY.md."""
        return {
            "schema": SCHEMA,
            "verdict": "pass" if self.passes else "exceeds",
            "exceeds": list(self.exceeded),
            "summary": self.summary,
            "method": self.method,
            "width": self.width,
            "height": self.height,
            "frames": self.frames,
            "duration_s": _seconds(self.duration_s),
            "viewing": {
                "peak_cd_m2": self.viewing.peak_cd_m2,
                "distance_heights": self.viewing.distance_heights,
            },
            "flashes": [finding.to_json() for finding in self.flashes],
            "stripes": [finding.to_json() for finding in self.stripes],
            "cautions": list(self.cautions()),
            "disclaimer": DISCLAIMER,
        }


def report_text(report: SafetyReport) -> str:
    """Text for the terminal: the verdict, the numbers behind it, the cautions."""
    viewing = report.viewing
    lines = [
        report.summary,
        f"  {_checked(report)}",
        f"  assumed: peak white {viewing.peak_cd_m2:g} cd/m2, seen from "
        f"{viewing.distance_heights:g} picture heights",
    ]
    if report.flashes:
        lines.append(
            "  flashes: most in any second, area with more than 3 in sum (WCAG: in 10 degrees)"
        )
        lines += [_flash_line(f) for f in report.flashes]
    lines.append("  regular stripes")
    lines += [_stripe_line(s) for s in report.stripes]
    lines += [f"  {caution}" for caution in report.cautions()]
    return "\n".join([*lines, f"  {DISCLAIMER}"])


def _checked(report: SafetyReport) -> str:
    size = f"{report.width}x{report.height}"
    if report.method == "still":
        return f"still picture, {size}: it cannot flash, so stripes only"
    frames = plural(report.frames, "frame")
    return f"looked at {frames}, {float(report.duration_s):.2f} s, {size}"


def _times(intervals: tuple[Interval, ...]) -> str:
    if not intervals:
        return ""
    shown = ", ".join(f"{float(a):.2f}-{float(b):.2f} s" for a, b in intervals[:3])
    more = f" and {len(intervals) - 3} more" if len(intervals) > 3 else ""
    return f", at {shown}{more}"


def _flash_line(f: FlashFinding) -> str:
    beyond = "beyond" if f.extra else "EXCEEDS"
    head = f"    {beyond if f.exceeds else 'ok':8}{f.criterion:36}"
    if f.criterion == EXTENDED:
        return f"{head}{float(f.flashing_s):5.1f} s of any 5 s, extended from {EXTENDED_S} s on"
    return (
        f"{head}{f.flashes_per_s:5.1f} of {MAX_FLASHES_PER_S}, "
        f"area {f.share:6.1%} of {f.share_limit:.1%}{_times(f.intervals)}"
    )


def _stripe_line(s: StripeFinding) -> str:
    head = f"    {'EXCEEDS' if s.exceeds else 'ok':8}{s.criterion:36}"
    if s.motion == "none":
        return f"{head} none found"
    return (
        f"{head}{s.pairs:5.1f} pairs of {s.pairs_limit}, {s.motion}, "
        f"area {s.share:.1%} of {s.share_limit:.1%}, {s.light_cd_m2:.0f} and "
        f"{s.dark_cd_m2:.0f} cd/m2{_times(s.intervals)}"
    )
