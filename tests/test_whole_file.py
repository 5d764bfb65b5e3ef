"""Files are whole under their final name or not there, on every system and file system."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from patterns import whole_file
from patterns.errors import OutputError, RequestError
from patterns.whole_file import Claims, PartialFile, write_whole
from tests.systems import linux

TOOLS = ("mkfs.exfat", "losetup", "mount.exfat-fuse", "umount")


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def refuse_links(*_: object) -> None:
    raise OSError(errno.EPERM, "Operation not permitted")


@pytest.fixture(params=["refused", "exfat"])
def without_links(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Path]:
    """A folder where no hard links can be made: by refusing them, and on a real card's system."""
    if request.param == "refused":
        monkeypatch.setattr(os, "link", refuse_links)
        yield tmp_path
        return
    if sys.platform == "win32" or os.getuid() or not all(map(shutil.which, TOOLS)):
        pytest.skip("needs root and Debian's exfatprogs, exfat-fuse, mount: a real exFAT disk")
    yield from exfat(tmp_path)


def exfat(place: Path) -> Iterator[Path]:
    image, mounted = place / "card", place / "mounted"
    image.touch()
    os.truncate(image, 8 << 20)
    mounted.mkdir()

    def run(*command: str | Path) -> str:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            pytest.skip(f"{command[0]} does not work here: {done.stderr.strip()}")
        return done.stdout.strip()

    run("mkfs.exfat", image)
    device = run("losetup", "-f", "--show", image)
    try:
        run("mount.exfat-fuse", device, mounted)
        try:
            yield mounted
        finally:
            subprocess.run(["umount", mounted], check=True)
    finally:
        subprocess.run(["losetup", "-d", device], check=True)


def test_a_disk_without_hard_links(without_links: Path) -> None:
    path = without_links / "Stausee Łódź.json"
    write_whole(path, "one", force=False)
    assert path.read_text() == "one"
    with pytest.raises(RequestError, match="exists: give --force"):
        write_whole(path, "two", force=False)
    write_whole(path, "three", force=True)
    assert path.read_text() == "three"
    assert names(without_links) == [path.name]


def test_a_file_that_appears_meanwhile_is_kept_without_hard_links(without_links: Path) -> None:
    path = without_links / "clip.mp4"
    partial = PartialFile(path, force=False)
    path.write_text("theirs")
    with pytest.raises(RequestError, match="exists"):
        partial.publish()
    assert path.read_text() == "theirs"
    assert names(without_links) == ["clip.mp4"]


def test_nothing_stays_where_neither_link_nor_rename_works(
    without_links: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The name that was reserved is given up again."""
    partial = PartialFile(without_links / "clip.mp4", force=False)
    monkeypatch.setattr(Path, "replace", refuse_links)
    monkeypatch.setattr(Path, "rename", refuse_links)
    with pytest.raises(OutputError):
        partial.publish()
    assert names(without_links) == []


def open_by_us(path: Path) -> bool:
    handles = Path("/proc/self/fd").iterdir()
    return any(handle.exists() and handle.samefile(path) for handle in list(handles))


@linux
@pytest.mark.filterwarnings("ignore::ResourceWarning")  # nobody was left to close it by name
def test_ctrl_c_while_a_file_is_begun_leaves_it_to_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows could not remove at the end what is still open."""

    def interrupted(_: object) -> bool:
        raise KeyboardInterrupt

    monkeypatch.setattr(whole_file, "_lock", interrupted)
    with pytest.raises(KeyboardInterrupt):
        PartialFile(tmp_path / "clip.mp4", force=False)
    (left,) = tmp_path.iterdir()
    assert not open_by_us(left)
    whole_file._discard_unfinished()  # as at the end of the process
    assert names(tmp_path) == []


def as_windows_does(
    method: Callable[[Path, Path], Path], *, replaces: bool
) -> Callable[[Path, Path], Path]:
    """Refuses what Windows refuses: open files at both ends, and for a rename any file there."""

    def act(path: Path, target: Path) -> Path:
        if not replaces and target.exists():
            raise FileExistsError(errno.EEXIST, "Cannot create a file when that file exists")
        if any(p.exists() and open_by_us(p) for p in (path, target)):
            raise PermissionError(errno.EACCES, "Another program uses the file")
        return method(path, target)

    return act


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows, or on Linux its rules about open files."""
    if sys.platform == "win32":
        return
    if sys.platform != "linux":
        pytest.skip("which files are open is looked up in Linux's /proc")
    monkeypatch.setattr(whole_file, "_WINDOWS", True)
    monkeypatch.setattr(Path, "replace", as_windows_does(Path.replace, replaces=True))
    monkeypatch.setattr(Path, "rename", as_windows_does(Path.rename, replaces=False))


@pytest.mark.usefixtures("windows")
def test_windows_new_and_again(tmp_path: Path) -> None:
    path = tmp_path / "kit.json"
    write_whole(path, "one", force=False)
    with pytest.raises(RequestError, match="exists: give --force"):
        write_whole(path, "two", force=False)
    write_whole(path, "three", force=True)
    assert path.read_text() == "three"
    late = PartialFile(tmp_path / "late.json", force=False)
    late.target.write_text("theirs")
    with pytest.raises(RequestError, match="exists"):
        late.publish()
    assert late.target.read_text() == "theirs"
    assert names(tmp_path) == ["kit.json", "late.json"]


@pytest.mark.usefixtures("windows")
def test_windows_a_file_that_a_player_has_open(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    path.write_text("old")
    began = time.monotonic()
    with path.open(), pytest.raises(OutputError) as error:
        write_whole(path, "new", force=True)
    assert "another program has" in str(error.value)
    assert "clip.mp4 open" in str(error.value)
    assert 0.9 < time.monotonic() - began < 60  # it is tried again for a second, not for ever
    assert path.read_text() == "old"
    assert names(tmp_path) == ["clip.mp4"]


@pytest.mark.usefixtures("windows")
def test_windows_a_file_that_a_scanner_lets_go(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    path.write_text("old")
    scanned = path.open()
    threading.Timer(0.3, scanned.close).start()
    write_whole(path, "new", force=True)
    assert path.read_text() == "new"
    assert names(tmp_path) == ["clip.mp4"]


@pytest.mark.skipif(sys.platform != "win32", reason="open files can be removed elsewhere")
def test_windows_a_run_that_starts_while_a_file_gets_its_name_leaves_it_alone(
    tmp_path: Path,
) -> None:
    """Between closing and renaming nobody has it open: its time is what protects it."""
    left = tmp_path / ".other.json.part-12"
    left.write_text("about to be other.json")
    write_whole(tmp_path / "kit.json", "kit", force=False)
    assert names(tmp_path) == [".other.json.part-12", "kit.json"]
    os.utime(left, (time.time() - 100,) * 2)
    write_whole(tmp_path / "kit.json", "kit", force=True)
    assert names(tmp_path) == ["kit.json"]


@pytest.mark.skipif(sys.platform != "win32", reason="names that only Windows refuses")
@pytest.mark.parametrize(
    ("name", "words"),
    [("a?.json", "character that file names may not have"), ("x" * 300, "is too long")],
)
def test_windows_names(tmp_path: Path, name: str, words: str) -> None:
    with pytest.raises(RequestError, match=words):
        write_whole(tmp_path / name, "", force=False)


def test_two_sources_never_get_one_file() -> None:
    """Nor two names that a card or a Mac takes for one: capitals, letters composed or not."""
    claims = Claims()
    out, first, second = Path("out"), Path("a/Dam.mov"), Path("b/dam.mov")
    assert claims.claim(out / "Übersicht.mp4", first) == out / "Übersicht.mp4"
    claims.claim(out / "Übersicht.mp4", first)
    claims.claim(Path("other") / "Übersicht.mp4", second)
    for name in ("Übersicht.mp4", "übersicht.MP4", "U\u0308bersicht.mp4"):
        with pytest.raises(RequestError, match=r"a.Dam.mov and b.dam.mov would both be written to"):
            claims.claim(out / name, second)
