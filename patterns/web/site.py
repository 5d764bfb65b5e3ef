"""What is served: the clips of one folder, known by name before the first request.

Every name that a request may use is in a table that is built here. A request is looked
up and never joined to a path, so that there is nothing to traverse.
"""

from __future__ import annotations

import contextlib
import json
import re
import stat
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from patterns.errors import InputError, RequestError
from patterns.kit.kit import SCHEMA as KIT_SCHEMA
from patterns.kit.record import SCHEMA as CLIP_SCHEMA

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
    """A folder as it is served.

    Attributes
    ----------
    folder
        Absolute, links resolved.
    groups
        What is shown, in order.
    files
        Name -> path of every clip and poster that may be asked for.
    """

    folder: Path
    groups: tuple[Group, ...]
    files: MappingProxyType[str, Path] = field(repr=False)

    def record(self, name: str) -> dict[str, Any] | None:
        """Record of a clip by its file name."""
        return next((c for g in self.groups for c in g.clips if c["file"] == name), None)


def plain_file(path: Path) -> bool:
    """Whether a path is a regular file itself and not a link to one."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False


def open_site(folder: Path) -> Site:
    """Read what a folder holds: its kit.json, or else the records beside its clips.

    Links, files outside the folder and clips whose file is missing are left out.

    Raises
    ------
    RequestError
        The folder is missing or holds no clip of ours.
    InputError
        Its kit.json cannot be read.
    """
    if folder.exists() and not folder.is_dir():
        raise RequestError(f"{folder} is not a folder: give one that holds clips")
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
    return bool(simple) and plain_file(root / name)
