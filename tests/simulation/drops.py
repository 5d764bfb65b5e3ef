"""A trial of drops: frames left out at random, and how many of them a reading finds.

python -m tests.simulation.drops prints the counts. Each recording is one of
the grid's, drawn at random, with a response anywhere from 0.1 to 1 refresh whatever its level
and frames left out at random; the camera runs at twice the refresh or faster.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from patterns.reading.reading import Reading
from patterns.reading.recording import judge_recording
from patterns.reading.sightings import Sightings
from patterns.strip.camera import CameraReader
from patterns.strip.read import Unread
from patterns.timing.cadence import Display
from patterns.video.reader import read_luma
from tests.simulation.conditions import CAPTURES, DISPLAYS, LEVELS, RATES, Case, draw_case
from tests.simulation.film import START_S, Scene, film, stage, truth_of
from tests.simulation.judge import Tally, is_wrong
from tests.simulation.phone_file import save

__all__ = ["Count", "Trial", "count_drops", "drawn", "run_trial"]

SECONDS = 2.0
DROPS = 0.12  # of the frames
STALLS = 0.02
LATE = 0.05
RESPONSE = (0.1, 1.0)  # refreshes


@dataclass(frozen=True)
class Trial:
    """One recording; `named` is whether the reader is told the display."""

    case: Case
    named: bool

    @property
    def kind(self) -> tuple[str, str, str]:
        """Level, captures a refresh and response: the rows of the table."""
        screen = self.case.screen
        per_refresh = float(self.case.capture_hz / screen.refresh_hz)
        capture = "2" if per_refresh < 2.2 else "2.4 to 3.4" if per_refresh < 3.5 else "4 or more"
        slow = screen.response_s * float(screen.refresh_hz) > 0.5
        return self.case.level, capture, "0.5 to 1" if slow else "up to 0.5"


@dataclass
class Count(Tally):
    """Frames left out, by what the reading says of them, and what it says wrongly.

    `untold` counts those of recordings that were refused, or at their very ends.
    """

    recordings: int = 0
    read: int = 0
    misread: int = 0
    refused: int = 0
    missing: int = 0
    found: int = 0
    unseen: int = 0
    untold: int = 0
    invented: int = 0
    holds: int = 0
    counted: int = 0
    wrong: int = 0
    faults: list[str] = field(default_factory=list)


def drawn(seed: int, recordings: int) -> Iterator[Trial]:
    """Recordings of a trial."""
    rng = np.random.default_rng([seed, 3])
    for i in range(recordings):
        hz = int(rng.choice(DISPLAYS))
        capture = int(rng.choice(sorted({2 * hz, *(c for c in CAPTURES if c >= 2 * hz)})))
        level = LEVELS[i % 2]
        case = draw_case(level, RATES[int(rng.integers(len(RATES)))], hz, capture, seed * 1000 + i)
        response = float(rng.uniform(*RESPONSE)) / hz
        yield Trial(replace(case, screen=replace(case.screen, response_s=response)), i % 4 < 2)


def _filmed(trial: Trial, folder: Path, seconds: float, drops: float) -> tuple[Path, Scene]:
    """File of a recording, made now or in an earlier run, and its truth."""
    case = trial.case
    pictures = round(seconds * case.capture_hz)
    rate = float(case.rate)
    scene = stage(
        case, pictures, drops_per_s=drops * rate, stalls_per_s=STALLS * rate, late_per_s=LATE * rate
    )
    # wherever the refresh falls between two pictures: a camera at twice of it stays there
    shift_s = float(np.random.default_rng([case.seed, 4]).random()) / case.capture_hz
    played = replace(scene.played, starts_s=scene.played.starts_s + shift_s)
    scene = replace(scene, played=played)
    path = folder / f"{case.seed}-{case.level}-{case.screen.refresh_hz}-{case.capture_hz}.mp4"
    if not path.exists():
        part = path.with_suffix(".part.mp4")
        save((luma for luma, _ in film(scene, pictures)), part, case.capture_hz, case.crf)
        part.rename(path)
    return path, scene


def count_drops(reading: Reading, scene: Scene) -> Count:
    """Compare a reading with what the screen was given."""
    case, played = scene.case, scene.played
    refreshes = np.rint(np.diff(played.starts_s) * float(case.screen.refresh_hz)).astype(int)
    truth = dict(zip(played.numbers.tolist(), refreshes.tolist(), strict=False))
    shown = set(played.numbers.tolist())
    # from the first frame that the film shows whole to the last that it saw come on
    margin_s = 1 / float(case.screen.refresh_hz)
    begun = played.starts_s > START_S
    ended = played.starts_s < START_S + reading.pictures / case.capture_hz - margin_s
    whole = played.numbers[begun & ended].tolist()
    missing = {n for n in range(whole[0], whole[-1]) if n not in shown}
    count = Count(recordings=1, missing=len(missing))
    count.refused = int("slower than twice" in reading.verdict)
    count.found = len(missing & set(reading.dropped))
    count.unseen = len(missing & set(reading.unseen))
    count.untold = count.missing - count.found - count.unseen
    invented = shown & set(reading.dropped)
    count.invented = len(invented)
    count.faults += [f"invented {n}: {case}" for n in sorted(invented)]
    for frame in reading.holds:
        count.holds += 1
        count.counted += frame.refreshes is not None
        off_s = abs(frame.hold_s - truth.get(frame.number, -9) / float(case.screen.refresh_hz))
        if frame.refreshes not in (None, truth.get(frame.number)) or off_s > 1 / 20:
            count.wrong += 1
            count.faults.append(f"{frame} but {truth.get(frame.number)}: {case}")
    return count


def run_trial(trial: Trial, folder: Path, seconds: float = SECONDS, drops: float = DROPS) -> Count:
    """Film, compress, read back and compare, picture by picture and as a whole."""
    path, scene = _filmed(trial, folder, seconds, drops)
    log, camera = Sightings(), CameraReader()
    read, faults = 0, []
    for i, (time_s, luma) in enumerate(read_luma(path)):
        found = camera.read(luma)
        log.take(time_s, found)
        if isinstance(found, Unread):
            continue
        read += 1
        if is_wrong(found, truth_of(scene, i)):
            faults.append(f"picture {i}: {found} but {truth_of(scene, i)}: {trial.case}")
    display = Display.fixed(int(trial.case.screen.refresh_hz)) if trial.named else None
    count = count_drops(judge_recording(log.watched(), file=path.name, display=display), scene)
    count.read, count.misread = read, len(faults)
    count.faults += faults
    return count


def table(counts: dict[tuple[str, str, str], Count]) -> str:
    """Rows by level, captures a refresh and response."""
    head = (
        "recordings | pictures read | wrong | frames left out | found | unseen | untold | "
        "invented | holds | wrong |"
    )
    lines = [f"| level, captures a refresh, response | {head}", "|---|" + "---|" * 10]
    whole = Count()
    for kind in sorted(counts, key=lambda k: (LEVELS.index(k[0]), *k[1:])):
        lines.append(_row(", ".join(kind), counts[kind]))
        whole.add(counts[kind])
    return "\n".join([*lines, _row("**all**", whole)])


def _row(name: str, c: Count) -> str:
    share = 100 * c.found / c.missing if c.missing else 100.0
    return (
        f"| {name} | {c.recordings} | {c.read} | {c.misread} | {c.missing} | "
        f"{c.found} ({share:.1f} %) | {c.unseen} | {c.untold} | {c.invented} | "
        f"{c.holds} | {c.wrong} |"
    )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--recordings", type=int, default=120)
    parser.add_argument("--keep", type=Path, help="folder for the recordings, to read them again")
    options = parser.parse_args()
    counts: dict[tuple[str, str, str], Count] = {}
    with tempfile.TemporaryDirectory() as temporary:
        for trial in drawn(options.seed, options.recordings):
            count = run_trial(trial, options.keep or Path(temporary))
            counts.setdefault(trial.kind, Count()).add(count)
            c, case = count, trial.case
            sys.stderr.write(
                f"{case.seed} {case.level} {float(case.rate):.6g} on {case.screen.refresh_hz} at "
                f"{case.capture_hz}, response "
                f"{case.screen.response_s * float(case.screen.refresh_hz):.2f}, light "
                f"{case.screen.backlight.hz:g}: {c.found}/{c.missing}, unseen {c.unseen}, untold "
                f"{c.untold}, refused {c.refused}, holds {c.counted}/{c.holds}\n"
            )
            for fault in count.faults:
                sys.stderr.write(f"WRONG {fault}\n")
    sys.stdout.write(table(counts) + "\n")


if __name__ == "__main__":
    main()
