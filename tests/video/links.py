"""Files that make a decoder open other files or call other machines, and a port that listens."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from pathlib import Path

__all__ = ["Listener", "linked_files"]


class Listener:
    """A port on loopback, TCP and UDP, that counts who calls; a context manager."""

    def __init__(self) -> None:
        self._calls = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._calls.getsockname()[1])
        self._letters = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._letters.bind(("127.0.0.1", self.port))
        self.heard = 0
        self._ended = False
        for waiting in (self._calls, self._letters):
            waiting.settimeout(0.05)
        self._threads = [
            threading.Thread(target=self._count, args=(take,))
            for take in (self._take_call, self._take_letter)
        ]

    def _take_call(self) -> None:
        self._calls.accept()[0].close()

    def _take_letter(self) -> None:
        self._letters.recv(9)

    def _count(self, take: Callable[[], None]) -> None:
        while not self._ended:
            try:
                take()
            except TimeoutError:
                continue
            self.heard += 1

    def __enter__(self) -> Listener:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended = True
        for thread in self._threads:
            thread.join()
        self._calls.close()
        self._letters.close()


def linked_files(target: Path, port: int) -> dict[str, str]:
    """Texts by file name; each names `target` or an address at `port` of this machine.

    Forms: HLS (RFC 8216), MPEG-DASH (ISO/IEC 23009-1), SDP (RFC 8866), SVG 2, SMIL 3.0, IMF
    (SMPTE ST 2067-3), playlists (common practice, no source) and the decoder's own scripts.
    """
    web, local = f"http://127.0.0.1:{port}/other.mp4", target.as_uri()
    head = "#EXTM3U\n#EXT-X-VERSION:3\n#EXT-X-TARGETDURATION:9\n"
    end = "\n#EXT-X-ENDLIST\n"
    drawing = '<svg xmlns="http://www.w3.org/2000/svg" width="64" height="64">'
    concat = f"ffconcat version 1.0\nfile '{target.name}'\n"
    return {
        "concat.mp4": concat,
        "pictures-%02d.png": concat,
        "concat-web.mp4": f"ffconcat version 1.0\nfile '{web}'\n",
        "list.mp4": f"{head}#EXTINF:2,\n{web}{end}",
        "list.m3u8": f"{head}#EXTINF:2,\n{web}{end}",
        "local.m3u8": f"{head}#EXTINF:2,\n{local}{end}",
        "master.m3u8": f"#EXTM3U\n#EXT-X-STREAM-INF:BANDWIDTH=900000\n{web}\n",
        "key.m3u8": f'{head}#EXT-X-KEY:METHOD=AES-128,URI="{web}"\n#EXTINF:2,\n{local}{end}',
        "manifest.mpd": '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" '
        'type="static" mediaPresentationDuration="PT2S" profiles="urn:mpeg:dash:profile:full:2011">'
        '<Period><AdaptationSet mimeType="video/mp4"><Representation id="1" bandwidth="9" '
        f'width="64" height="64" codecs="avc1.640028"><BaseURL>{web}</BaseURL></Representation>'
        "</AdaptationSet></Period></MPD>",
        "package.xml": '<?xml version="1.0"?><CompositionPlaylist '
        'xmlns="http://www.smpte-ra.org/schemas/2067-3/2016"></CompositionPlaylist>',
        "network.sdp": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=-\nc=IN IP4 127.0.0.1\nt=0 0\n"
        f"m=video {port} RTP/AVP 96\na=rtpmap:96 H264/90000\n",
        "drawing.svg": f'{drawing}<image href="{web}" width="64" height="64"/></svg>',
        "drawing.mp4": f'{drawing}<image href="{local}" width="64" height="64"/></svg>',
        "player.pls": f"[playlist]\nFile1={web}\nNumberOfEntries=1\nVersion=2\n",
        "parts.mps": f"FORMAT=25\n{target.name}\n1 2\nTarn Hollow\n",
        "smil.mp4": f'<smil><body><video src="{web}"/></body></smil>',
        "links.asx": f'<asx version="3.0"><entry><ref href="{web}"/></entry></asx>',
        "notes.txt": "Tarn Hollow, second survey flight\n" * 50,
    }
