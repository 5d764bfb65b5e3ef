"""Media types of clips, with the codec named so that a player can say whether it plays.

Codec strings: RFC 6381 and the codecs' own bindings (ISO/IEC 14496-15 for H.264 and
H.265, "VP Codec ISO Media File Format Binding", "AV1 Codec ISO Media File Format
Binding"); all from memory. Without a level the bare container type is given.
"""

from __future__ import annotations

from typing import Any

__all__ = ["container_type", "media_type"]

_CONTAINERS = {".mp4": "video/mp4", ".mov": "video/quicktime", ".webm": "video/webm"}


def container_type(file: str) -> str:
    """Type of a file by its suffix, as the answer's Content-Type states it."""
    suffix = file[file.rfind(".") :].lower() if "." in file else ""
    return _CONTAINERS.get(suffix, "application/octet-stream")


def _codec_text(codec: str, level: str) -> str:
    """Codec string of 8-bit 4:2:0 at a level such as '4.1'; '' where there is none."""
    major, _, minor = level.partition(".")
    if not major.isdigit() or (minor and not minor.isdigit()):
        return ""
    tens = int(major) * 10 + int(minor or 0)
    texts = {
        "h264": f"avc1.6400{tens:02x}",
        "hevc": f"hvc1.1.6.L{tens * 3}.B0",
        "vp9": f"vp09.00.{tens}.08",
        "av1": f"av01.0.{(int(major) - 2) * 4 + int(minor or 0):02d}M.08",
    }
    return texts.get(codec, "")


def media_type(record: dict[str, Any]) -> str:
    """Type of a clip for `canPlayType`, such as 'video/mp4; codecs="avc1.640028"'."""
    container = container_type(record["file"])
    codec = _codec_text(record["codec"], record["codec_level"])
    return f'{container}; codecs="{codec}"' if codec else container
