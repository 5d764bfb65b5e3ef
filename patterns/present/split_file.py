"""A split clip as a video file at the display's rate, checked for flashes while it is made."""

from __future__ import annotations

from pathlib import Path

from patterns.errors import RequestError
from patterns.present.split_clip import SplitClip, SplitSpec
from patterns.safety.guard import LoopGuard
from patterns.safety.report import SafetyReport
from patterns.side_by_side import Progress
from patterns.video.writer import VideoSpec, VideoWriter

__all__ = ["refuse_flashing", "write_split"]


def refuse_flashing(report: SafetyReport, name: str, *, allow_flashing: bool) -> None:
    """Refuse what exceeds a limit for flashes or stripes, unless that is allowed.

    Raises
    ------
    RequestError
        It exceeds one.
    """
    if not report.passes and not allow_flashing:
        raise RequestError(
            f"{name} {report.summary}: slow it down, use another pattern or speed, or say "
            f"--allow-flashing if nobody unwarned will watch it"
        )


def write_split(
    spec: SplitSpec,
    path: Path,
    *,
    codec: str = "h264",
    force: bool = False,
    allow_flashing: bool = False,
    progress: Progress | None = None,
) -> SafetyReport:
    """Write the clip; each refresh is one frame of the file, or `spec.slow` equal ones.

    Returns
    -------
    What the check of its frames found, as they are shown.

    Raises
    ------
    RequestError
        It is not possible, exceeds a limit for flashes, or the file exists.
    OutputError, EncoderError
        The disk or the encoder failed; nothing is left behind.
    """
    clip = SplitClip(spec)
    rate = spec.refresh_hz
    frames = spec.refreshes * spec.slow
    guard = LoopGuard(spec.width, spec.height, rate)
    video = VideoSpec(path, spec.width, spec.height, rate, codec, frames, force)
    with VideoWriter(video) as writer:
        for k, frame in enumerate(clip.refreshes()):
            for again in range(spec.slow):
                n = k * spec.slow + again
                if not again:  # a repeated picture changes nothing that could flash
                    guard.see(n / rate, frame)
                writer.write(frame)
                if progress is not None:
                    progress(n + 1, frames)
        report = guard.report(end_s=frames / rate)
        # Inside the block, so that a file that is refused is not kept.
        refuse_flashing(report, path.name, allow_flashing=allow_flashing)
    return report
