"""Light: a room made in code, which metal mirrors, and one lamp for what is matt.

The room is a picture of the whole sphere round the scene in linear light (equirectangular, row 0
straight down): a warm soft box at the viewer's upper left, a cool strip at the right, light from
the back and above, a warm floor, and pale cloth behind the viewer, without which flat nickel would
mirror the dark. It turns with the first view, so that every scene is lit alike from where it is
seen. VTK filters it once per roughness and takes its diffuse part as spherical harmonics.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.util.numpy_support import numpy_to_vtk
from vtkmodules.vtkCommonDataModel import vtkImageData
from vtkmodules.vtkRenderingCore import vtkTexture

from snapsim.arrays import Array

WIDE = 256  # pixels round the horizon
ROUGHNESSES = 5  # levels of the filtered room
SAMPLES = 48
LAMP = (-0.62, 0.85, 0.62)  # toward the lamp, in camera axes (right, up, back)
LAMP_COLOUR, LAMP_STRENGTH = "#FFE9C9", 1.2

# Boxes of light: azimuth from the viewer, elevation [rad], half sizes [rad], colour, strength.
BOXES = (
    (-0.95, 0.78, 0.46, 0.34, (1.0, 0.93, 0.82), 4.2),
    (1.25, 0.62, 0.13, 0.34, (0.82, 0.95, 1.0), 2.0),
    (2.85, 0.50, 0.55, 0.20, (1.0, 0.97, 0.92), 1.6),
    (-0.10, 1.25, 3.00, 0.16, (1.0, 1.0, 1.0), 1.6),
    (0.18, 0.10, 0.06, 0.45, (1.0, 0.96, 0.90), 2.0),
)
# Cloth behind the viewer: azimuth from the viewer [rad], colour, strength.
CLOTHS = ((-0.95, (1.0, 0.96, 0.90), 0.85), (1.9, (0.80, 0.93, 1.0), 0.62))
SKY, FLOOR = (0.030, 0.042, 0.042), (0.20, 0.115, 0.055)


@lru_cache(maxsize=1)
def room(wide: int = WIDE) -> Array:
    """Return the room (wide / 2, wide, 3), row 0 down, columns by azimuth from the viewer's,
    -pi to pi."""
    up, round_ = np.meshgrid(
        np.linspace(-np.pi / 2, np.pi / 2, wide // 2),
        (np.arange(wide) + 0.5) / wide * 2 * np.pi - np.pi,
        indexing="ij",
    )
    light = np.array(SKY) * (1 + 0.8 * np.clip(up, 0, None))[..., None]
    below = 1 / (1 + np.exp(up / 0.05))
    ground = (below * (0.35 + 0.65 * np.clip(-up / 0.9, 0, 1)))[..., None]
    light = light * (1 - below[..., None]) + np.array(FLOOR) * ground
    for azimuth, elevation, across, high, colour, strength in BOXES:
        aside = np.abs((round_ - azimuth + np.pi) % (2 * np.pi) - np.pi)
        edge = np.exp(-((aside / across) ** 8) - ((up - elevation) / high) ** 8)
        light = light + strength * edge[..., None] * np.array(colour)
    band = 1 / (1 + np.exp(-(up + 0.42) / 0.05)) / (1 + np.exp((up - 0.22) / 0.10))
    band = band * (0.62 + 0.62 * np.clip((up + 0.4) / 0.6, 0, 1))
    for azimuth, colour, strength in CLOTHS:
        fall = np.clip(0.5 + 0.5 * np.cos(round_ - azimuth), 0, 1) ** 4
        light = light + strength * (band * fall)[..., None] * np.array(colour)
    return light


def illuminate(plotter: Any, axes: Array, centre: Array, size: float) -> None:
    """Put a scene about `centre` (3,) of `size` [m], seen along `axes` (3, 3), into the room."""
    renderer = plotter.renderer
    renderer.SetEnvironmentTexture(_texture(_turned(axes)), False)
    renderer.UseImageBasedLightingOn()
    renderer.SetEnvironmentUp(0, 0, 1)
    renderer.SetEnvironmentRight(1, 0, 0)
    filtered = renderer.GetEnvMapPrefiltered()
    filtered.SetPrefilterMaxSamples(SAMPLES)
    filtered.SetPrefilterLevels(ROUGHNESSES)
    table = renderer.GetEnvMapLookupTable()  # of what rough metal mirrors at each angle: smooth
    table.SetLUTSize(64)
    table.SetLUTSamples(64)
    place = centre + 4 * size * np.array(LAMP) @ axes
    plotter.add_light(
        pv.Light(
            position=tuple(place),
            focal_point=tuple(centre),
            color=LAMP_COLOUR,
            intensity=LAMP_STRENGTH,
            light_type="scene light",
        )
    )


def _turned(axes: Array) -> Array:
    """The room as VTK looks it up: it runs against the azimuth where up is z."""
    viewer = float(np.arctan2(axes[2, 1], axes[2, 0]))
    wide = room().shape[1]
    azimuth = -((np.arange(wide) + 0.5) / wide * 2 * np.pi - np.pi)
    column = ((azimuth - viewer + np.pi) % (2 * np.pi)) / (2 * np.pi) * wide
    found: Array = room()[:, np.floor(column).astype(np.int64) % wide]
    return found


def _texture(picture: Array) -> Any:
    """Return a texture of floats."""
    high, wide, _ = picture.shape
    image = vtkImageData()
    image.SetDimensions(wide, high, 1)
    values = numpy_to_vtk(  # type: ignore[no-untyped-call]
        picture.reshape(-1, 3).astype(np.float32), deep=True
    )
    values.SetName("room")
    image.GetPointData().SetScalars(values)
    texture = vtkTexture()
    texture.SetColorModeToDirectScalars()
    texture.SetInputData(image)
    texture.MipmapOn()
    texture.InterpolateOn()
    return texture
