"""Surfaces as VTK draws them: physically based, with a fine pattern of their own.

VTK shades metal and matt alike by the room (`studio`) and its lamp; what is added here, in the
fragment shader, is the finish: grain and turned rings of cast iron, the lay of ground steel, growth
rings of wood, pale stripes on a magnet's south, turns of wire about the z axis; and the glow of
iron, where a mesh has the points' array "glow": sRGB and how far it covers the bare surface. Where
it glows, reflections are held back, so that no highlight can be taken for a value. Patterns are
given in the body's own axes.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pyvista as pv
from vtkmodules.vtkCommonDataModel import vtkDataObject
from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

from snapsim.arrays import Array
from snapsim.render import palette

GLOW: Final = "glow"

_NOISE: Final = """
float scatter(vec3 p){
  p = fract(p*.1031); p += dot(p, p.zyx + 31.32); return fract((p.x+p.y)*p.z); }
vec4 four(vec3 i){
  return vec4(scatter(i), scatter(i+vec3(1,0,0)), scatter(i+vec3(0,1,0)), scatter(i+vec3(1,1,0))); }
float cloud(vec3 p){
  vec3 i = floor(p), f = fract(p); f = f*f*(3.-2.*f);
  vec4 m = mix(four(i), four(i + vec3(0,0,1)), f.z);
  vec2 n = mix(m.xz, m.yw, f.x); return mix(n.x, n.y, f.y); }
"""

# What each finish makes of the shaded colour: a factor on it. `at` is the place in body axes [m],
# `way` the direction of stripes and grain.
_FINISH: Final[dict[str, str]] = {
    "even": "float finish = 1.;",
    "cast": """
 float grain = .6*cloud(at*1400.) + .4*cloud(at*420.);
 float rings = cloud(vec3(length(at.xy)*1500., 0., 7.));
 float finish = .81 + .24*grain + .13*rings;""",
    "ground": """
 float lay = cloud(vec3(dot(at, way)*90., dot(at, side)*2600., dot(at, over)*2600.));
 float finish = .90 + .18*lay;""",
    "wood": """
 vec3 w = vec3(dot(at, way)*6., dot(at, side)*60., dot(at, over)*60.);
 float ring = fract(length(w.yz + .6*cloud(w*.8)) * 1.6);
 float finish = .74 + .30*ring + .16*cloud(w*vec3(6., 14., 14.));""",
    "striped": """
 float run = dot(at, slant)*pace; float sharp = max(fwidth(run), 1e-4);
 float off = abs(fract(run) - .5);
 float stripe = 1. - smoothstep(.10 - sharp, .10 + sharp, off);
 stripe = mix(stripe, .2, clamp(2.*sharp - .3, 0., 1.));
 float finish = 1. + 0.*run;""",
    "wound": """
 vec3 square = normalize(cross(dFdx(at), dFdy(at)));
 float over_turns = (abs(square.z) > .7 ? length(at.xy) : at.z)*turns;
 float blur = clamp(1.4*fwidth(over_turns) - .3, 0., 1.);
 float round_wire = sqrt(max(0., 1. - pow(2.*fract(over_turns) - 1., 2.)));
 float finish = mix(.30 + .80*round_wire, .90, blur);""",
}
_STRIPE: Final = " shown = mix(shown, shown*.5 + vec3(.27,.26,.30), stripe);"
_GLOWING: Final = """
 shown = mix(shown, shown/(1. + .55*shown), glowVS.a);
 float facing = clamp(abs(dot(normalize(normalVCVSOutput), normalize(-vertexVC.xyz))), 0., 1.);
 vec3 ember = glowVS.rgb*(.52 + .48*facing)*(.70 + .30*finish);
 shown = mix(shown, .2*shown + ember, glowVS.a);"""


def surface_actor(
    mesh: pv.PolyData, look: palette.MaterialLook, way: Array, colour: str | None = None
) -> Any:
    """Return the actor of a mesh that brings its normals; `way` (3,) is the unit direction, in body
    axes, of grain and lay, and what stripes run across."""
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(mesh)
    mapper.ScalarVisibilityOff()
    actor = vtkActor()
    actor.SetMapper(mapper)
    given = actor.GetProperty()
    given.SetInterpolationToPBR()
    given.SetColor(*(c / 255 for c in palette.rgb(colour or look.colour)))
    given.SetMetallic(look.metallic)
    given.SetRoughness(look.roughness)
    given.SetOpacity(look.opacity)
    glows = GLOW in mesh.point_data
    if look.finish != "even" or glows:
        _add_finish(actor, look.finish, way, float(np.ptp(mesh.points, axis=0).max()), glows)
    if glows:
        mapper.MapDataArrayToVertexAttribute(
            "glowMC", GLOW, vtkDataObject.FIELD_ASSOCIATION_POINTS, -1
        )
    return actor


def _add_finish(actor: Any, finish: str, way: Array, size: float, glows: bool) -> None:
    shader = actor.GetShaderProperty()
    normal = "//VTK::Normal::Dec", "//VTK::Normal::Impl", "//VTK::Light::Impl"
    glow_in, glow_out = ("in vec4 glowMC;\nout vec4 glowVS;\n", " glowVS = glowMC;\n")
    shader.AddVertexShaderReplacement(
        normal[0], True, f"{normal[0]}\nout vec3 placeMC;\n{glow_in if glows else ''}", False
    )
    shader.AddVertexShaderReplacement(
        normal[1],
        True,
        f"{normal[1]}\n placeMC = vertexMC.xyz;\n{glow_out if glows else ''}",
        False,
    )
    read = "in vec3 placeMC;\n" + ("in vec4 glowVS;\n" if glows else "") + _NOISE
    shader.AddFragmentShaderReplacement(normal[0], True, f"{normal[0]}\n{read}", False)
    code = [normal[2], " vec3 at = placeMC;", _directions(way, size), _FINISH[finish]]
    code.append(" vec3 shown = gl_FragData[0].rgb*finish;")
    code += [_STRIPE] if finish == "striped" else []
    code += [_GLOWING] if glows else []
    code.append(" gl_FragData[0].rgb = shown;")
    shader.AddFragmentShaderReplacement(normal[2], True, "\n".join(code), False)


def _directions(way: Array, size: float) -> str:
    least = np.eye(3)[int(np.argmin(np.abs(way)))]
    side = np.cross(way, least)
    side /= np.linalg.norm(side)
    over = np.cross(way, side)
    slant = way + 0.8 * side + 0.45 * over
    slant /= np.linalg.norm(slant)
    told = {"way": way, "side": side, "over": over, "slant": slant}
    lines = [
        f" const vec3 {name} = vec3({v[0]:.9f},{v[1]:.9f},{v[2]:.9f});" for name, v in told.items()
    ]
    paces = [("pace", STRIPES / size), ("turns", TURNS / size)]
    return "\n".join([*lines, *(f" const float {name} = {pace:.9f};" for name, pace in paces)])


STRIPES: Final = 24.0
"""Stripes along a magnet's longest side, about."""
TURNS: Final = 40.0
"""Wires that would lie beside each other along a winding's longest side: fewer than are really
there, so that they can be seen."""
