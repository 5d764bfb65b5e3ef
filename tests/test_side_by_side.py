"""Tasks in processes of their own: what they give, and that none outlives who asked."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from patterns.errors import RequestError, WorkerError
from patterns.side_by_side import Progress, Task, next_task, side_by_side
from tests.cli.running import encoders_in, environment, run, run_process, start
from tests.systems import linux

KIT = ("kit", "--size", "320x180", "--rates", "24", "--seconds", "0.5", "--quiet")
# Bars alone: what is tested here does not depend on the pattern, and these are drawn at once.
CLIPS = ("plan", "--pattern", "bars", "--size", "426x240", "--jobs", "2", "--clips", "kit")


def squared(number: int, progress: Progress) -> tuple[int, int]:
    progress(1, 2)
    return number**2, os.getpid()


def refused(number: int, progress: Progress) -> None:
    progress(0, 1)
    raise RequestError(f"{number} is not possible: try 1")


def refused_after(number: int, other: Path, progress: Progress) -> None:
    """Make the mistake once the other task is under way."""
    assert until(other.with_suffix(".begun").exists)
    refused(number, progress)


def killed(progress: Progress) -> None:
    progress(0, 1)
    os.kill(os.getpid(), signal.Signals["SIGKILL"])


def slow(path: Path, progress: Progress) -> None:
    path.with_suffix(".begun").touch()
    try:
        for part in range(3000):
            progress(part, 3000)
            time.sleep(0.1)
    finally:
        path.write_text("unwound")


def until(met: Callable[[], bool], timeout_s: float = 120) -> bool:
    end = time.monotonic() + timeout_s
    while not met() and time.monotonic() < end:
        time.sleep(0.02)
    return met()


def workers_of(pid: int) -> list[int]:
    """Processes that the main thread of a process has started."""
    try:
        return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


@pytest.mark.parametrize("jobs", [1, 3])
def test_results_come_in_order_and_progress_reaches_the_end(jobs: int) -> None:
    seen: list[tuple[int, int]] = []
    tasks = [Task(str(n), squared, (n,), 2 * n) for n in range(1, 6)]
    results = side_by_side(tasks, jobs, lambda done, total: seen.append((done, total)))
    assert [result[0] for result in results] == [1, 4, 9, 16, 25]
    assert seen == sorted(seen)
    assert seen[-1] == (30, 30)
    here = os.getpid() in {result[1] for result in results}
    assert here == (jobs == 1)


def test_kin_are_made_by_one_worker_while_there_are_others() -> None:
    kin = ("bars", "bars", "terrain", "terrain", "orbit", "orbit")
    tasks = [Task("", squared, (), size, kin=name) for size, name in enumerate(kin)]
    waiting = [5, 4, 3, 2, 1, 0]  # the longest first
    at = {1: "", 2: ""}
    given: dict[int, list[str]] = {1: [], 2: []}
    for worker, other in ((1, 2), (2, 1), (1, 2), (2, 1), (1, 2), (2, 1)):
        number = next_task(tasks, waiting, at[worker], {at[other]})
        waiting.remove(number)
        at[worker] = tasks[number].kin
        given[worker].append(at[worker])
    # The last: none is left that the other is not at.
    assert given == {1: ["orbit", "orbit", "bars"], 2: ["terrain", "terrain", "bars"]}


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_mistake_is_raised_where_the_tasks_were_given_and_ends_the_others(
    tmp_path: Path, jobs: int
) -> None:
    other = tmp_path / "other"
    mistake = Task("mistake", refused, (7,), 2)
    if jobs > 1:
        mistake = Task("mistake", refused_after, (7, other), 2)
    tasks = [mistake, Task("other", slow, (other,), 1)]
    begun = time.monotonic()
    with pytest.raises(RequestError, match="7 is not possible: try 1"):
        side_by_side(tasks, jobs)
    assert time.monotonic() - begun < 200  # the other alone would take five minutes
    assert jobs == 1 or (tmp_path / "other").read_text() == "unwound"


@linux
def test_a_killed_worker_is_one_line_that_names_its_task() -> None:
    before = workers_of(os.getpid())
    tasks = [Task("one.mp4", killed, (), 1), Task("two.mp4", squared, (2,), 1)]
    with pytest.raises(WorkerError, match=r"made one\.mp4 was killed by signal 9.*--jobs 1"):
        side_by_side(tasks, 2)
    assert workers_of(os.getpid()) == before


def test_a_script_needs_no_guard_for_its_main_program(tmp_path: Path) -> None:
    script = tmp_path / "script.py"
    script.write_text(
        "from patterns.side_by_side import Task, side_by_side\n"
        "from tests.test_side_by_side import squared\n"
        "print('begun')\n"
        "print([r[0] for r in side_by_side([Task(str(n), squared, (n,), 1) for n in (1, 2)], 2)])\n"
    )
    done = subprocess.run(
        [sys.executable, str(script)], env=environment(), capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines() == ["begun", "[1, 4]"]


@pytest.mark.slow
def test_a_kit_has_the_same_bytes_however_many_make_it(tmp_path: Path) -> None:
    for jobs in ("1", "2"):
        done = run(*KIT, "--jobs", jobs, "--out", jobs, cwd=tmp_path)
        assert (done.returncode, done.stderr) == (0, "")
    one, many = ({p.name: p.read_bytes() for p in (tmp_path / k).iterdir()} for k in ("1", "2"))
    assert one == many
    assert len(one) == 3 * 2 + 3 + 4  # clips with records, posters, kit.json and three pages


@linux
@pytest.mark.parametrize(
    ("name", "code"),
    [("SIGINT", 130), ("SIGTERM", 143), ("SIGKILL", -9)],
    ids=["Ctrl-C", "terminate", "kill"],
)
def test_no_worker_and_no_half_file_outlives_a_set_of_clips(
    tmp_path: Path, name: str, code: int
) -> None:
    process = start(*CLIPS, "--seconds", "600", cwd=tmp_path)
    assert until(lambda: len(list((tmp_path / "kit").glob(".*.part-*"))) == 2)
    workers = workers_of(process.pid)
    process.send_signal(signal.Signals[name])
    said = process.communicate(timeout=120)[1]
    assert process.returncode == code
    assert said.strip() in ("", "evenhold: stopped")
    assert len(workers) == 2
    assert until(lambda: not any(Path(f"/proc/{worker}").exists() for worker in workers)), "orphans"
    assert until(lambda: not encoders_in(tmp_path))
    assert not list((tmp_path / "kit").iterdir())


@linux
def test_what_was_finished_stays_when_a_worker_is_killed(tmp_path: Path) -> None:
    kit = tmp_path / "kit"
    words = (*CLIPS, "--rates", "24,25,60", "--seconds", "3")
    process = start(*words, cwd=tmp_path)
    assert until(lambda: any(kit.glob("*.json")))
    os.kill(workers_of(process.pid)[0], signal.Signals["SIGKILL"])
    said = process.communicate(timeout=120)[1]
    assert process.returncode == 1
    assert said.startswith("evenhold: the process that made ")
    assert len(said.splitlines()) == 1
    for record in kit.glob("*.json"):
        assert (kit / json.loads(record.read_text())["file"]).is_file()
    done = run_process(*words, cwd=tmp_path)  # goes on, and removes what the killed one left
    assert done.returncode == 0
    assert not list(kit.glob(".*"))
