"""A run or a scene as Universal Scene Description, by the library of that name (usd-core).

Z upward, metres, one time code a frame of `RATE` a second; surfaces are displayed in their colours.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from snapsim.arrays import Array
from snapsim.exchange.gltf import RATE, linear_light
from snapsim.extras import require_extra
from snapsim.parts.bodies import Body
from snapsim.render.interpolation import sample
from snapsim.render.solid import DrawnSurface, surfaces
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory


def write_usd(what: System | Trajectory, path: Path, ending: str) -> None:
    """Write a scene as placed, or a run moving in real time; `ending` ".usdc" or ".usda".

    Raises InputError where the library is missing.
    """
    require_extra("export", "USD", "pxr", key="--output")
    from pxr import Usd, UsdGeom

    system = what.system if isinstance(what, Trajectory) else what
    stage = Usd.Stage.CreateInMemory(f"scene{ending}")
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.z)
    UsdGeom.SetStageMetersPerUnit(stage, 1.0)
    stage.SetTimeCodesPerSecond(RATE)
    root = UsdGeom.Xform.Define(stage, "/scene")
    stage.SetDefaultPrim(root.GetPrim())
    root.GetPrim().SetCustomDataByKey("title", system.title)
    nodes = [_body(stage, i, body) for i, body in enumerate(system.bodies)]
    pose = system.start.pose
    for i, node in enumerate(nodes):
        _place(node, pose.position[i], pose.quaternion[i], None)
    if isinstance(what, Trajectory):
        _move(what, nodes, stage)
    stage.GetRootLayer().Export(str(path), args={"format": ending[1:]})


def _move(run: Trajectory, nodes: list[Any], stage: Any) -> None:
    end = float(run.time[-1])
    codes = np.arange(int(np.ceil(end * RATE)) + 1)
    stage.SetStartTimeCode(0.0)
    stage.SetEndTimeCode(float(codes[-1]))
    for code in codes:
        moment = sample(run, min(code / RATE, end))
        for i, node in enumerate(nodes):
            if not run.system.bodies[i].fixed:
                _place(node, moment.position[i], moment.quaternion[i], float(code))


def _body(stage: Any, number: int, body: Body) -> tuple[Any, Any]:
    """A body's node with its surfaces; returns what moves it: translation and orientation."""
    from pxr import UsdGeom

    node = UsdGeom.Xform.Define(stage, f"/scene/body_{number}")
    node.GetPrim().SetCustomDataByKey("name", body.name)
    for k, surface in enumerate(surfaces(body)):
        _surface(UsdGeom.Mesh.Define(stage, f"{node.GetPath()}/surface_{k}"), surface)
    double = UsdGeom.XformOp.PrecisionDouble
    return node.AddTranslateOp(double), node.AddOrientOp(double)


def _surface(mesh: Any, surface: DrawnSurface) -> None:
    from pxr import UsdGeom, Vt

    points = np.asarray(surface.mesh.points, dtype=np.float32)
    triangles = np.asarray(surface.mesh.regular_faces, dtype=np.int32)
    mesh.CreatePointsAttr(Vt.Vec3fArray.FromNumpy(points))
    mesh.CreateFaceVertexCountsAttr(Vt.IntArray(len(triangles), 3))
    mesh.CreateFaceVertexIndicesAttr(Vt.IntArray.FromNumpy(triangles.ravel()))
    mesh.CreateSubdivisionSchemeAttr(UsdGeom.Tokens.none)
    mesh.CreateDisplayColorAttr([tuple(linear_light(surface.colour))])
    mesh.CreateDisplayOpacityAttr([surface.opacity])


def _place(node: tuple[Any, Any], position: Array, quaternion: Array, code: float | None) -> None:
    from pxr import Gf, Usd

    w, x, y, z = (float(c) for c in quaternion)
    at = Usd.TimeCode.Default() if code is None else Usd.TimeCode(code)
    node[0].Set(Gf.Vec3d(*map(float, position)), at)
    node[1].Set(Gf.Quatd(w, x, y, z), at)
