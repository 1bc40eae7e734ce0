"""Small reference pictures of frames, and the perceptual difference from them.

    python tests/references/pictures.py      draws them anew (look at every one before storing it)

Difference: the mean of CIE 1976 Delta E*ab (ISO/CIE 11664-4) over a picture, sRGB (IEC 61966-2-1)
and D65 (from memory), after halving its size, which forgives an edge that falls a hair elsewhere.
About 2.3 is just noticeable between two patches side by side (Mahy, Van Eycken and Oosterlinck,
Color Res. Appl. 19, 105 (1994); from memory).
"""

from pathlib import Path

import numpy as np

PANELS = frozenset(
    ("stage", "figures", "plot", "energy", "trail", "ghosts", "velocity", "magnetisation", "gap")
)
FOLDER = Path(__file__).parent / "pictures"
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def lab(picture):
    """CIE L*a*b* of an RGB picture."""
    c = np.asarray(picture.convert("RGB"), float) / 255
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    xyz = linear @ TO_XYZ.T / TO_XYZ.sum(axis=1)
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def difference(a, b):
    """Mean Delta E*ab of two pictures of one size, and its 99th percentile."""
    delta = np.linalg.norm(lab(a.reduce(2)) - lab(b.reduce(2)), axis=-1)
    return float(delta.mean()), float(np.quantile(delta, 0.99))


def shots():
    """Name, options and clip time of each stored picture."""
    from snapsim.render import ClipOptions, Shot, layers_of

    wide, tall = {"width": 480, "height": 270}, {"width": 270, "height": 480}
    return {
        "question": (ClipOptions(**wide), "question"),
        "impact": (ClipOptions(**wide), "freeze"),
        "dashboard": (ClipOptions(**wide, slow_motion=20.0, layers=PANELS), "replay"),
        "tall": (ClipOptions(**tall), "freeze"),
        "bare": (ClipOptions(**wide, layers=frozenset({"stage"})), "freeze"),
        "below": (ClipOptions(**wide, shot=Shot(view=(60.0, -12.0))), "question"),
        "no-stage": (ClipOptions(**wide, layers=layers_of(["torque"], ["stage"])), "freeze"),
    }


def draw(run):
    """Yield (name, picture) of every shot of a run."""
    from snapsim.render.job import ClipJob
    from snapsim.render.show import Show

    for name, (options, when) in shots().items():
        with Show(ClipJob((run,), options)) as show:
            if isinstance(when, str):
                piece = next(p for p in show.timeline.pieces if p.kind == when)
                when = piece.clip + 0.6 * piece.length
            yield name, show.frame(when)


def main():
    import sys

    sys.path.insert(0, str(Path(__file__).parents[1] / "render"))
    from conftest import make_trajectory

    from snapsim.render import offscreen

    offscreen.require()
    FOLDER.mkdir(exist_ok=True)
    for name, picture in draw(make_trajectory()):
        picture.save(FOLDER / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main()
