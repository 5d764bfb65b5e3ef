"""A reading: what a screen, a file or an edit really did, as values and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

from patterns.reading.hold_cadence import Expected, HeldFrame, TimingError

if TYPE_CHECKING:  # readings of clips need not wait for what measures footage
    from patterns.footage.measure import Facts
    from patterns.reading.sightings import Watched

SCHEMA = "evenhold/reading 1"
Kind = Literal["clip", "recording", "photo", "footage", "browser"]
KINDS: tuple[Kind, ...] = ("clip", "recording", "photo", "footage", "browser")


class Blend(NamedTuple):
    """A picture, or a stretch of a recording, in which two neighbouring frames are mixed.

    `number` is None in footage without a strip; `picture` is its place in the file.
    """

    number: int | None
    share: float | None
    start_s: float
    picture: int | None = None


class Reading(NamedTuple):
    """What was read."""

    kind: Kind  # what was given
    file: str  # its name, without the folder
    verdict: str = ""  # one sentence
    # frames a second that the strip claims; that footage was shot at as far as repeats show
    rate: Fraction | None = None
    clip: int | None = None  # the clip's 16-bit identity
    # the display's, given or found; a clip's or footage's own pictures a second; None: not known
    refresh_hz: Fraction | None = None
    refresh_from: str = ""  # 'given', 'holds', 'file' or ''
    refresh_candidates: tuple[Fraction, ...] = ()  # usual ones that would look the same
    pictures: int = 0  # in the file
    read: int = 0  # of them
    unread: tuple[tuple[str, int], ...] = ()  # why others were not, with counts
    seconds: float = 0.0  # from the first picture to the last
    capture_hz: float | None = None  # pictures a second of a recording, in true time
    frames_seen: int = 0  # different frames
    holds: tuple[HeldFrame, ...] = ()  # frames with their holds, complete ones only
    # dropped, repeated, out_of_order, unseen: Frame numbers (of footage: picture numbers).
    # `repeated`: shown again, or held longer than the cadence ever holds; `unseen`: nothing can be
    # known of them.
    dropped: tuple[int, ...] = ()
    repeated: tuple[int, ...] = ()
    out_of_order: tuple[int, ...] = ()
    unseen: tuple[int, ...] = ()
    drops_beyond: int = 0  # how many frames were dropped that the cadence does not drop
    blended: tuple[Blend, ...] = ()  # mixtures of two frames
    pattern: tuple[int, ...] | None = None  # repeating holds, the longest first, in refreshes
    even: bool | None = None  # whether all frames were held equally long; None: not known
    error: TimingError | None = None  # timing error
    expected: Expected | None = None  # what the cadence arithmetic expects
    speed: float | None = None  # frames a second found over those claimed; None if unknown
    explanation: tuple[str, ...] = ()  # why it differs from what was expected
    warnings: tuple[str, ...] = ()  # doubts, with what to do
    details: Mapping[str, Any] = {}  # more of one kind, JSON values; never written to
    footage: Facts | None = None  # what was measured of footage without a strip

    @classmethod
    def of_strip(cls, kind: Kind, file: str, watched: Watched) -> Reading:
        """What every reading of a video's strips begins with."""
        identity = watched.identity
        return cls(
            kind,
            file,
            rate=None if identity is None else identity.rate,
            clip=None if identity is None else identity.clip,
            pictures=watched.pictures,
            read=watched.read,
            unread=watched.unread,
            seconds=float(watched.last_s - watched.first_s),
            frames_seen=len({run.number for run in watched.runs}),
        )

    def worded(
        self, verdict: str, explanation: Iterable[str] = (), warnings: Iterable[str] = ()
    ) -> Reading:
        """The same with what it says in sentences: the last step of every judgement."""
        why, doubts = tuple(explanation), tuple(warnings)
        return self._replace(verdict=verdict, explanation=why, warnings=doubts)


def _float(value: Fraction | float | None, digits: int = 6) -> float | None:
    return None if value is None else round(float(value), digits)


def _hold_json(frame: HeldFrame) -> dict[str, Any]:
    shown: dict[str, Any] = {
        "number": frame.number,
        "start_s": _float(frame.start_s),
        "hold_s": round(frame.hold_s, 6),
        "refreshes": frame.refreshes,
    }
    if frame.start_exact is not None:
        shown["start_exact"] = str(frame.start_exact)
    return shown


def inter_arrival(frames: Sequence[HeldFrame]) -> dict[str, float] | None:
    """Frame inter-arrival times (ITU-T P.931's term for holds), milliseconds."""
    if not frames:
        return None
    ms = 1000 * np.array([frame.hold_s for frame in frames])
    values = {"mean": ms.mean(), "sd": ms.std(), "min": ms.min(), "max": ms.max()}
    return {name: round(float(value), 4) for name, value in values.items()}


def _error_json(error: TimingError | None) -> dict[str, float | None]:
    return {
        "timing_error_rms_ms": None if error is None else round(error.rms_ms, 4),
        "timing_error_span_ms": None if error is None else round(error.span_ms, 4),
    }


def _expected_json(found: Expected) -> dict[str, Any]:
    return {
        "refresh_hz": _float(found.cadence.refresh_hz),
        "pattern": None if found.pattern is None else list(found.pattern),
        "even": found.cadence.even,
        "dropped_per_second": _float(found.cadence.dropped_per_second),
        **_error_json(found.error),
    }


def to_json(r: Reading) -> dict[str, Any]:
    """The reading as a JSON object, schema 'evenhold/reading 1'."""
    return {
        "schema": SCHEMA,
        "kind": r.kind,
        "file": r.file,
        "verdict": r.verdict,
        "explanation": list(r.explanation),
        "warnings": list(r.warnings),
        "rate": _float(r.rate),
        "rate_exact": None if r.rate is None else str(r.rate),
        "clip": None if r.clip is None else f"{r.clip:04x}",
        "refresh_hz": _float(r.refresh_hz),
        "refresh_from": r.refresh_from,
        "refresh_candidates": [_float(hz) for hz in r.refresh_candidates],
        "capture_hz": _float(r.capture_hz, 4),
        "pictures": r.pictures,
        "read": r.read,
        "unread": dict(r.unread),
        "seconds": round(r.seconds, 6),
        "frames_seen": r.frames_seen,
        "pattern": None if r.pattern is None else list(r.pattern),
        "even": r.even,
        **_error_json(r.error),
        "inter_arrival_ms": inter_arrival(r.holds),
        "speed": _float(r.speed),
        "expected": None if r.expected is None else _expected_json(r.expected),
        "dropped": list(r.dropped),
        "drops_beyond_cadence": r.drops_beyond,
        "repeated": list(r.repeated),
        "blended": [
            {**b._asdict(), "share": _float(b.share, 3), "start_s": _float(b.start_s)}
            for b in r.blended
        ],
        "out_of_order": list(r.out_of_order),
        "unseen": list(r.unseen),
        "holds": [_hold_json(frame) for frame in r.holds],
        "details": r.details,
        "footage": _footage_json(r.footage),
    }


def _footage_json(facts: Facts | None) -> dict[str, Any] | None:
    if facts is None:
        return None
    # here, because other readings need not wait for what speaks of footage
    from patterns.footage.seen import facts_json

    return facts_json(facts)
