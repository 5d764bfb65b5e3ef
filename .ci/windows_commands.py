"""Every command that a user of Windows types, once, with the Python that runs this.

    python .ci/windows_commands.py

Works in a folder of its own under a name with a space and with letters that few code pages have.
Prints a line for each command and ends at the first that does not do what it must.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.request import Request, urlopen

COMMAND = [sys.executable, "-X", "utf8=0", "-m", "patterns"]
ENVIRONMENT = {
    **os.environ,
    "PYTHONIOENCODING": "cp1252",  # the code page of a Western pipe
    "PYTHONPATH": str(Path(__file__).resolve().parents[1]),
}
SMALL = ("--size", "640x360", "--seconds", "0.5")
BARS = ("render", "bars", "--rate", "24", *SMALL)


def evenhold(*words: str, ends: tuple[int, ...] = (0,), says: str = "") -> str:
    """Run it; returns what it printed, after checking the exit code and the words."""
    began = time.monotonic()
    done = subprocess.run(
        [*COMMAND, *words],
        capture_output=True,
        env=ENVIRONMENT,
        stdin=subprocess.DEVNULL,
        check=False,
    )
    out, error = done.stdout.decode("cp1252"), done.stderr.decode("cp1252")
    line = ascii(" ".join(words))[1:-1]
    print(f"{time.monotonic() - began:6.1f} s  exit {done.returncode}  evenhold {line}", flush=True)
    if done.returncode not in ends or says not in out + error or "Traceback" in error:
        sys.exit(f"expected exit {ends} and {says!r}, got\n{out!a}\n{error}")
    return out


def files(folder: str, *names: str) -> None:
    """Check that these files are there, and no hidden ones."""
    there = {path.name for path in Path(folder).iterdir()}
    missing = [name for name in names if name not in there]
    left = [name for name in there if ".part-" in name]
    if missing or left:
        sys.exit(f"{folder}: {missing} missing, {left} left over")


def kit() -> None:
    words = ("kit", "--rates", "24,30", *SMALL, "--out", "kit")
    evenhold(*words, says="6 made now, 0 kept")
    evenhold(*words, says="0 made now, 6 kept")
    files("kit", "index.html", "crib-sheet.html", "kit.json", "evenhold-orbit-30fps.mp4")


def render() -> None:
    evenhold(*BARS, "--out", "Łódź.mp4")
    evenhold(*BARS, "--out", "Łódź.mp4", ends=(2,), says="exists: give --force")
    evenhold(*BARS, "--out", "Łódź.mp4", "--force")
    with Path("Łódź.mp4").open("rb"):  # as a player has it
        evenhold(*BARS, "--out", "Łódź.mp4", "--force", ends=(1,), says="another program has")
    for codec in ("hevc", "vp9", "av1", "prores", "lossless"):
        evenhold(*BARS, "--codec", codec)


def readings() -> None:
    evenhold("check", "Łódź.mp4", ends=(0, 3))
    words = ("--csv", "holds.csv", "--picture", "holds.png")
    evenhold("read", "Łódź.mp4", *words, says="every frame once and in order")
    text = evenhold("read", "Łódź.mp4", "--json")
    Path("a.json").write_bytes(text.encode("utf-16"))  # as PowerShell's > does it
    other = evenhold("read", "kit/evenhold-bars-30fps.mp4", "--json")
    Path("b.json").write_bytes(other.encode("utf-8-sig"))
    found = evenhold("compare", "a.json", "b.json", "--label", "Łódź", "--html", "c.html", "--json",
                     "--label", "TV")  # fmt: skip
    assert json.loads(found)
    files(".", "c.html", "holds.csv", "holds.png")


def show() -> None:
    present = ("present", "--size", "720p", "--seconds", "0.5", "--out", "talk")  # room for panels
    evenhold(*present, "--split", "--stills", "--html", "--animation", "webp")
    evenhold(*present, "--stills", "--html", "--force")
    files("talk", "demo.html")
    evenhold("plan", "--metered", "ISO100 f/2.8 1/2000", "--html", "plan.html")
    files(".", "plan.html")


def serve() -> None:
    """One request for a part of a clip, as a phone's player makes them."""
    process = subprocess.Popen(
        [*COMMAND, "serve", "kit", "--port", "0"],
        env=ENVIRONMENT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        for line in process.stdout:
            if found := re.search(rb"http://\S+", line):
                break
        else:
            sys.exit("serve printed no address")
        where = found[0].decode()
        page = urlopen(where, timeout=60).read().decode()
        clip = re.search(r'[^"\s]*evenhold-bars-24fps\.mp4', page)
        assert clip, page
        address = f"{where.rstrip('/')}/{clip[0].lstrip('/')}"
        answer = urlopen(Request(address, headers={"Range": "bytes=100-199"}), timeout=60)
        body = answer.read()
        print(f"{'':16}  evenhold serve: {answer.status}, {answer.headers['Content-Range']}")
        assert answer.status == 206
        assert body == Path("kit/evenhold-bars-24fps.mp4").read_bytes()[100:200]
    finally:
        process.kill()
        process.wait()


def main() -> None:
    print(sys.platform, sys.version.split()[0], flush=True)
    home = str(Path.cwd())
    with tempfile.TemporaryDirectory(prefix="Film Łódź ", ignore_cleanup_errors=True) as folder:
        os.chdir(folder)
        for part in (kit, render, readings, show, serve):
            part()
        os.chdir(home)


if __name__ == "__main__":
    main()
