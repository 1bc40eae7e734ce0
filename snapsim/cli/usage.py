"""Examples that each command's help ends with; the tests parse every one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

EXAMPLES: Final[Mapping[str, tuple[str, ...]]] = {
    "new": ("snapsim new show.toml", "snapsim new show.toml --short"),
    "examples": ("snapsim examples", "snapsim examples gear-blank show"),
    "guide": (
        "snapsim guide tutorial",
        "snapsim guide keys > keys.md",
        "snapsim guide --schema release > release.schema.json",
    ),
    "check": (
        "snapsim check gear-blank.toml",
        "snapsim check --schema > scene.schema.json",
    ),
    "materials": ("snapsim materials", 'snapsim materials "NdFeB N45"'),
    "calibrate": (
        'snapsim calibrate gear-blank.toml --magnet magnet --field "0.4 T" --at "0, 0, -5 mm"'
        ' --along -z --reading-error "4 mT" -o measured.toml',
    ),
    "force": (
        "snapsim force gear-blank.toml",
        'snapsim force gear-blank.toml --along z --distance "80 mm" -o pull.png',
        'snapsim force gear-blank.toml --set body.magnet.position.z="40 mm"',
    ),
    "poses": ("snapsim poses gear-blank.toml", "snapsim poses two-magnets.toml --together"),
    "margin": (
        "snapsim margin gear-blank-falls-back.toml",
        "snapsim margin gear-blank-falls-back.toml --way lift --quick",
        'snapsim margin gear-blank.toml --find body.magnet.position.z="20..80 mm"'
        ' --so-that "no snap"',
    ),
    "fate": (
        'snapsim fate gear-blank.toml -o fates --first body.blank.rotation.angle="20..80 deg"'
        ' --second body.magnet.position.z="0..50 mm" --on table',
    ),
    "plot": (
        "snapsim plot gear-blank.toml --what energy -o energy.png",
        "snapsim plot gear-blank.h5 -o run.svg",
    ),
    "release": (
        "snapsim release gear-blank.toml -o gear-blank.h5",
        'snapsim release gear-blank.toml --set body.blank.rotation.angle="45 deg" --twins 8',
    ),
    "sweep": ("snapsim sweep gear-blank.study.toml -o swept --workers 4",),
    "rank": ('snapsim rank swept -o hazards.html --title "Saturday, hall 2"',),
    "clip": (
        "snapsim clip gear-blank.h5 -o gear-blank.mp4",
        "snapsim clip gear-blank.h5 --still impact -o hit.png --layer lines",
        'snapsim clip --story gear-blank.toml --what-if body.magnet.position.z="60 mm" -o film.mp4',
    ),
    "match": (
        "snapsim match gear-blank.toml gear-blank.tracks.csv --with gear-blank.match.toml"
        " --lay-only",
    ),
    "export": (
        "snapsim export gear-blank.h5 -o gear-blank.glb",
        "snapsim export gear-blank.h5 --rows impacts -o -",
    ),
    "page": ("snapsim page gear-blank.toml", "snapsim page gear-blank.h5 -o gear-blank.html"),
    "prepare": ("snapsim prepare",),
}


def epilog(command: str) -> str:
    """Return what the help of a command ends with: a line an example, unbroken by a blank line."""
    return "Examples:\n\n" + "\n\n".join(EXAMPLES[command])
