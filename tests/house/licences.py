"""Writes `snapsim/licences.txt`: the licence of everything that an installation brings with it.

    python tests/house/licences.py

From what the installed packages say of themselves, theirs followed to the end; the encoder's from
the program itself.
"""

from __future__ import annotations

import re
import subprocess
import tomllib
from collections.abc import Iterable
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

import imageio_ffmpeg
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
TARGET = ROOT / "snapsim" / "licences.txt"
EXTRAS = ("clip", "page", "cluster", "export", "step", "notebook")

HEAD = """Licences of what an installation of snapsim brings with it. snapsim itself: MIT.

Written by tests/house/licences.py from what each package says of itself in the version named; the
full texts lie in each package's .dist-info folder, under the names given in brackets.
"""

WITHIN = """
Within these packages, as their own texts say:

numpy and scipy carry OpenBLAS (BSD-3-Clause) and the GNU Fortran runtime (GPL-3.0-or-later with the
GCC Runtime Library Exception, which allows linking from programs under any licence); h5py carries
HDF5 (BSD-3-Clause); vtk, pillow, matplotlib and llvmlite carry third-party libraries named in their
licence files, LLVM among them (Apache-2.0 WITH LLVM-exception); trame-client carries Vue (MIT);
cascadio carries Open CASCADE (LGPL-2.1 with an exception), and snapsim starts it as a process of
its own.

snapsim itself carries the typeface Manrope (SIL Open Font License 1.1: render/letters/OFL.txt).
"""

ENCODER = """
The encoder of clips: imageio-ffmpeg (itself {licence}) carries a program,
ffmpeg {version},
built with {parts}.
As a whole that program is under the GNU General Public License, version {gpl} or later. snapsim
starts it as a program of its own and hands it pictures through a pipe; nothing of it is linked or
imported. Who passes the program on, in an image or an installer, passes it on under that licence,
with its source (https://ffmpeg.org).
"""


def canonical(name: str) -> str:
    """A name as packages are compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def needed(requirements: Iterable[str]) -> dict[str, Distribution]:
    """Everything that the requirements bring, by canonical name."""
    waiting, found = [Requirement(r) for r in requirements], dict[str, Distribution]()
    while waiting:
        wanted = waiting.pop()
        name = canonical(wanted.name)
        extras = ["", *wanted.extras]
        if (
            name in found
            or name == "snapsim"
            or not any(
                wanted.marker is None or wanted.marker.evaluate({"extra": e}) for e in extras
            )
        ):
            continue
        try:
            found[name] = distribution(wanted.name)
        except PackageNotFoundError:  # for another system
            continue
        waiting += [Requirement(r) for r in found[name].requires or () if "extra ==" not in r]
    return found


def licence(package: Distribution) -> str:
    """What a package says its licence is: an SPDX expression, else its own words."""
    about = package.metadata
    if about.get("License-Expression"):
        return str(about["License-Expression"])
    said = (about.get("License") or "").strip().splitlines()
    if len(said) == 1 and len(said[0]) < 50 and "Copyright" not in said[0]:
        return said[0]
    if said and said[0].strip() == "The MIT License (MIT)":  # and then its text
        return "MIT"
    classes = [c for c in about.get_all("Classifier") or [] if c.startswith("License ::")]
    return classes[-1].rsplit("::", 1)[1].strip() if classes else ""


def lines(packages: dict[str, Distribution]) -> list[str]:
    """A line a package."""
    found = []
    for name, package in sorted(packages.items()):
        files = package.metadata.get_all("License-File") or []
        more = f", and {len(files) - 3} more" if len(files) > 3 else ""
        texts = f"  [{', '.join(files[:3])}{more}]" if files else ""
        found.append(f"{name} {package.version}: {licence(package)}{texts}")
    return found


def encoder() -> str:
    """What the encoder says of itself."""
    program = imageio_ffmpeg.get_ffmpeg_exe()
    said = subprocess.run([program, "-version"], capture_output=True, text=True, check=True).stdout
    version = said.split()[2]
    options = set(re.findall(r"--enable-(\S+)", said))
    parts = [f"--enable-{o}" for o in ("gpl", "version3", "libx264", "libx265") if o in options]
    if "gpl" not in options or "nonfree" in options:
        raise SystemExit(f"the encoder is built otherwise than is told here: {sorted(options)}")
    return ENCODER.format(
        licence=licence(distribution("imageio-ffmpeg")),
        version=version,
        parts=" ".join(parts),
        gpl=3 if "version3" in options else 2,
    )


def text() -> str:
    """The whole file."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    told = needed(project["dependencies"])
    parts = [HEAD, "Always:", "", *lines(told)]
    for extra in EXTRAS:
        found = needed(project["optional-dependencies"][extra])
        more = {name: package for name, package in found.items() if name not in told}
        parts += ["", f"With snapsim[{extra}] besides:", "", *lines(more)]
        told |= more
    return "\n".join([*parts, WITHIN, encoder()])


if __name__ == "__main__":
    TARGET.write_text(text(), encoding="utf-8")
    print(f"wrote {TARGET}")
