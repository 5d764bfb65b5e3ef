"""The folder that is served: its clips, known by name before the first request, pages, readings.

Every name that a request may use is in a table that is built here. A request is looked
up and never joined to a path, so that there is nothing to traverse.

The pages work without scripts as a list of links; the modules in `static` add playing, measuring
and sending. What devices send never comes into a page. Readings are counted, slowed, and kept
whole under names of our choosing.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import stat
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from types import MappingProxyType
from typing import Any
from urllib.parse import quote

from patterns.drawing.style import page_part
from patterns.errors import EvenholdError, InputError, OutputError, RequestError
from patterns.kit import pages
from patterns.kit.kit import SCHEMA as KIT_SCHEMA
from patterns.kit.make_clip import SCHEMA as CLIP_SCHEMA
from patterns.kit.make_clip import dump
from patterns.whole_file import make_folder, write_whole

_TEXTS = ("file", "pattern", "rate_exact", "codec", "codec_level")
_NUMBERS = ("width", "height", "frames", "duration_s", "identity")
MOST_RECORD_BYTES = 4_000_000


@dataclass(frozen=True)
class Group:
    """Clips of one pattern, slowest first; `poster` is the name of its still, or ''."""

    pattern: str
    poster: str
    clips: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class Site:
    """A folder as it is served."""

    folder: Path  # absolute, links resolved
    groups: tuple[Group, ...]  # what is shown, in order
    files: MappingProxyType[str, Path] = field(repr=False)  # by name: all that may be asked for

    @property
    def readings(self) -> Path:
        """Folder for what devices send."""
        return self.folder / FOLDER

    def record(self, name: str) -> dict[str, Any] | None:
        """Record of a clip by its file name."""
        return next((c for g in self.groups for c in g.clips if c["file"] == name), None)


def plain_file(path: Path) -> os.stat_result | None:
    """What the system says of a regular file; None where there is none, or a link to one."""
    with contextlib.suppress(OSError):
        found = path.lstat()
        return found if stat.S_ISREG(found.st_mode) else None
    return None


def open_site(folder: Path) -> Site:
    """Read what a folder holds: its kit.json, or else the records beside its clips.

    Links, files outside the folder and clips whose file is missing are left out.
    Raises `RequestError`: the folder is missing or holds no clip of ours.
    Raises `InputError`: its kit.json cannot be read.
    """
    if not folder.is_dir():
        raise RequestError(f"folder {folder} does not exist: make it with  evenhold kit --out ...")
    root = folder.resolve()
    listed = _kit_groups(root) if (root / "kit.json").exists() else _loose_groups(root)
    groups = [_present(root, group) for group in listed]
    groups = [group for group in groups if group.clips]
    if not groups:
        raise RequestError(
            f'folder {folder} holds no clip: render some with  evenhold kit --out "{folder}"'
        )
    names = [c["file"] for g in groups for c in g.clips] + [g.poster for g in groups if g.poster]
    return Site(root, tuple(groups), MappingProxyType({name: root / name for name in names}))


def _load(path: Path) -> Any:
    try:
        if path.stat().st_size > MOST_RECORD_BYTES:
            raise InputError(f"{path} is too large to be a record of ours")
        return json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(f"{path} cannot be read: make the kit again") from error


def _kit_groups(root: Path) -> list[Group]:
    data = _load(root / "kit.json")
    if not isinstance(data, dict) or data.get("schema") != KIT_SCHEMA:
        raise InputError(f"{root / 'kit.json'} is not of the form {KIT_SCHEMA!r}: make it again")
    groups = data.get("patterns")
    if not isinstance(groups, list) or not all(isinstance(g, dict) for g in groups):
        raise InputError(f"{root / 'kit.json'} lists no patterns: make it again")
    return [
        Group(str(g.get("pattern")), str(g.get("poster", "")), tuple(g.get("clips", ())))
        for g in groups
    ]


def _loose_groups(root: Path) -> list[Group]:
    """Clips that were rendered one by one, each with its record beside it."""
    records = []
    for path in filter(plain_file, sorted(root.glob("*.json"))):
        with contextlib.suppress(InputError):  # somebody's own file
            data = _load(path)
            if isinstance(data, dict) and data.get("schema") == CLIP_SCHEMA:
                records.append(data)
    records.sort(key=lambda r: (str(r.get("pattern")), float(r.get("rate", 0))))
    patterns = dict.fromkeys(str(r.get("pattern")) for r in records)
    return [Group(p, "", tuple(r for r in records if str(r.get("pattern")) == p)) for p in patterns]


def _present(root: Path, group: Group) -> Group:
    clips = tuple(c for c in group.clips if _usable(c) and _inside(root, str(c["file"])))
    return Group(group.pattern, group.poster if _inside(root, group.poster) else "", clips)


def _usable(record: Any) -> bool:
    """Whether a record has what the pages need, of the right types."""
    return (
        isinstance(record, dict)
        and all(isinstance(record.get(key), str) for key in _TEXTS)
        and all(type(record.get(key)) in (int, float) for key in _NUMBERS)
        and re.fullmatch(r"[1-9]\d{0,8}(/[1-9]\d{0,8})?", record["rate_exact"]) is not None
    )


def _inside(root: Path, name: str) -> bool:
    """Whether `name` is that of a regular file in `root` itself."""
    simple = name and name not in (".", "..") and not set(name) & set("/\\\0")
    return bool(simple and plain_file(root / name))


def _document(title: str, body: str, module: str = "") -> str:
    script = f'<script type="module" src="static/{module}.js"></script>\n' if module else ""
    return page_part("web", "document.html", title=title, body=body, script=script)


def _measuring(name: str, **parts: str) -> str:
    """Body of a page that measures the display, and sums up what was seen there."""
    summary = page_part("web", "summary.html")
    return page_part("web", name, measuring=pages.MEASURING, summary=summary, **parts)


def clips_page(site: Site) -> str:
    """Page with every clip of the site."""
    body = _measuring(
        "clips.html",
        groups="".join(
            pages.clip_group(g.pattern, g.poster, g.clips, "clips/") for g in site.groups
        ),
        how_to=pages.HOW_TO_LINK,
        player=pages.player("Stop and sum up"),
        caution=pages.caution_dialog((c for g in site.groups for c in g.clips), "you play"),
    )
    return _document("Evenhold clips", body, "clips")


def how_to_page() -> str:
    """Page on filming and photographing a screen."""
    back = '<p><a class="button" href="./">Back to the clips</a></p>'
    return _document(pages.HOW_TO_TITLE, f"<main>{pages.how_to_body()}{back}</main>")


def live_page(site: Site) -> str:
    """Page that draws bars at the display's own rate; a clip keeps the screen awake meanwhile."""
    body = _measuring(
        "live.html",
        awake=quote(str(site.groups[0].clips[0]["file"])),
        caution=pages.caution_dialog([], "the bars move"),
    )
    return _document("Evenhold live bars", body, "live")


FOLDER = "readings"
MOST_READINGS = 2000
_NAME = re.compile(r"browser-(\d{4})-.*\.json")


class TooManyError(EvenholdError):
    """A device sends faster than allowed, or the folder holds all that it may."""


@dataclass
class Pace:
    """How fast each device may post: `burst` at once, then one in `seconds`."""

    burst: int = 20
    seconds: float = 2.0
    clock: Callable[[], float] = time.monotonic  # seconds that only go forward
    most_devices: int = 1000  # remembered; the one that was quiet longest is forgotten first
    _due: dict[str, float] = field(default_factory=dict)

    def take(self, device: str) -> None:
        """Count one post of `device`.

        Raises `TooManyError`: it has to wait.
        """
        now = self.clock()
        due = max(self._due.pop(device, now), now)
        allowed = due - now <= (self.burst - 1) * self.seconds
        self._due[device] = due + self.seconds if allowed else due
        while len(self._due) > self.most_devices:
            del self._due[next(iter(self._due))]
        if not allowed:
            raise TooManyError("too many posts at once: wait a few seconds and send again")


class ReadingShelf:
    """The folder `readings` beside the clips.

    `most`: readings that it may hold.
    """

    def __init__(self, folder: Path, *, most: int = MOST_READINGS) -> None:
        self.folder, self._most, self._lock = folder / FOLDER, most, Lock()

    def names(self) -> list[str]:
        """Files of the readings kept, in order."""
        if not self.folder.is_dir():
            return []
        return sorted(p.name for p in self.folder.iterdir() if _NAME.fullmatch(p.name))

    def keep(self, reading: dict[str, Any], subject: str) -> str:
        """Write a reading whole and return its file name.

        `subject`: what was read, such as the clip's name; only its letters and digits are used.
        Raises `TooManyError`: the folder holds all that it may.
        Raises `OutputError`: the disk is full or may not be written.
        """
        with self._lock:
            names = self.names()
            if len(names) >= self._most:
                raise TooManyError(f"{FOLDER} holds {len(names)} readings: move them away first")
            last = max((int(_NAME.fullmatch(n)[1]) for n in names), default=0)  # type: ignore[index]
            plain = re.sub(r"[^a-z0-9.]+", "-", subject.lower()).strip("-.")[:60]
            name = f"browser-{last + 1:04d}-{plain or 'reading'}.json"
            self._write(name, dump(reading))
            return name

    def _write(self, name: str, text: str) -> None:
        if self.folder.is_symlink():
            raise OutputError(f"{self.folder} is a link: readings are kept in a real folder")
        make_folder(self.folder)
        try:
            write_whole(self.folder / name, text, force=False)
        except RequestError as error:  # the folder went away between the two lines
            raise OutputError(str(error)) from error
