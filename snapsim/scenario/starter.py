"""The scene that `snapsim new` writes: it runs as it is and shows what can be written."""

from __future__ import annotations

import tomllib

from snapsim.scenario import toml_text

_SCENE = """\
# A scene for snapsim: one table (TOML) with bodies, how they touch, and how long to follow them.
# Every quantity is text with a unit: "60 mm", "12 deg", "2.5 kg". z points up; gravity pulls down.
# Invented example, not measured. Look first:   snapsim check THIS.toml
#                                              snapsim force THIS.toml
#                          then let it go:     snapsim release THIS.toml -o run.h5
#                          and watch it:       snapsim clip run.h5 -o clip.mp4
title = "Steel disc tilted under a block magnet"
note = "Change the tilt, and see when the disc snaps to the magnet and when it falls back."

# A body has a shape, a material and a place. Shapes and their sizes:
#   box      size = "120 x 80 x 40 mm"
#   cylinder diameter, length              (length runs along the body's z axis)
#   ring     outer_diameter, inner_diameter, length
#   sphere   diameter
#   hex_nut  across_flats, bore, length
# Prisms, compounds and meshes of your own are shown at the end.
# Materials: `snapsim materials` lists them; a [[material]] of your own is shown at the end.
[[body]]
name = "magnet"
shape = { kind = "box", size = "80 x 60 x 30 mm" }
material = "NdFeB N45"
magnetised = "-z"                 # an axis of the body, or a vector like "0.1, 0, 1"
position = "0, 0, 15 mm"          # of the centre of mass
fixed = true                      # never moves; without this line a body is free

[[body]]
name = "disc"
shape = { kind = "cylinder", diameter = "60 mm", length = "12 mm" }
material = "low-carbon steel"
position = "0, 0, -60 mm"
rotation = { axis = "y", angle = "75 deg" }   # or a list of turns, or quaternion = "w, x, y, z"
# velocity = "0, 0, 0 m/s"
# spin = "0, 0, 0 deg/s"

[[body]]
name = "table"
shape = { kind = "box", size = "400 x 300 x 30 mm" }
material = "oak"
position = "0, 0, -125 mm"
fixed = true

[contact]                         # for every pair of bodies ...
restitution = 0.3                 # 0 no rebound, 1 full rebound; "from materials": of metals
friction = 0.35
# air_gap = "0.2 mm"              # coating or tape that keeps bodies apart
# yield_speed = "0.5 m/s"         # restitution falls as speed^(-1/4) above it; left out: constant

[[contact.pair]]                  # ... but for these; names of bodies or of materials
between = ["disc", "table"]
restitution = 0.4

[run]
duration = "1 s"
detail = "normal"                 # draft | normal | fine
# tolerance = 1e-9                # of a step of the motion; by detail where left out
# recoil = true                   # magnets yield by their recoil permeability: slower, pulls less
# eddy_currents = false           # copper and aluminium do not brake magnets that move by them
"""

_MORE = """
# What else there is. Take the "# " off a block to use it; each block works by itself.
# `snapsim guide keys` lists every key.

# -- a part joined from pieces that touch; its position is the common centre of mass
# [[body]]
# name = "hammer"
# material = "low-carbon steel"
# position = "140, 0, -60 mm"
# [body.shape]
# kind = "compound"
# members = [
#   { shape = { kind = "box", size = "50 x 20 x 20 mm" } },
#   { position = "0, 0, -3 cm", shape = { kind = "cylinder", diameter = "1 cm", length = "4 cm" } },
# ]

# -- a part from a mesh: file = "part.stl", unit = "mm" beside this scene, or written out as here
# [[body]]
# name = "wedge"
# material = "grey cast iron"
# position = "-140, 0, -95 mm"
# [body.shape]
# kind = "mesh"
# corners = ["0, 0, 0 mm", "30, 0, 0 mm", "0, 30, 0 mm", "0, 0, 30 mm"]
# triangles = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]

# -- a coil: a ring or a frame with turns and a current; this one lets go at a time
# [[body]]
# name = "coil"
# material = "copper winding"
# turns = 400
# current = "3 A"                 # or rows: [["0 s", "3 A"], ["0.2 s", "3 A"], ["0.4 s", "0 A"]]
# switch_off = "0.5 s"
# position = "0, -130, -95 mm"
# fixed = true
# [body.shape]
# kind = "frame"
# window = "30 x 20 mm"
# width = "10 mm"
# length = "25 mm"

# -- an outline drawn out along body z
# [[body]]
# name = "bracket"
# material = "low-carbon steel"
# position = "0, 120, -95 mm"
# [body.shape]
# kind = "prism"
# points = ["0, 0 mm", "40, 0 mm", "40, 10 mm", "10, 10 mm", "10, 40 mm", "0, 40 mm"]
# length = "8 mm"

# -- a string: it pulls when taut and never pushes
# [[joint]]
# kind = "string"
# between = ["disc", "world"]     # two bodies, or one and "world"
# at = ["0, 0, 0 mm", "0, 60, -60 mm"]   # a point on each, in each one's own frame
# length = "80 mm"
# breaking_load = "120 N"

# -- a hinge about an axis of the first body
# [[joint]]
# kind = "hinge"
# between = ["disc", "world"]
# at = ["0, 0, 0 mm", "0, 0, -60 mm"]
# axis = "y"
# stops = ["-60 deg", "60 deg"]
# friction_torque = "0.02 N*m"

# -- a rail along an axis of the first body
# [[joint]]
# kind = "slide"
# between = ["disc", "world"]
# at = ["0, 0, 0 mm", "0, 0, -60 mm"]
# axis = "0, 1, 0"
# stops = ["-20 mm", "20 mm"]
# friction = 0.1

# -- a ball in its socket
# [[joint]]
# kind = "ball"
# between = ["disc", "world"]
# at = ["0, 0, 0 mm", "0, 0, -60 mm"]

# -- a hand that carries the part along a path and loses it past its strength
# [[joint]]
# kind = "hold"
# between = ["disc", "world"]     # the held part first
# at = ["0, 0, 0 mm", "0, 0, -60 mm"]
# path = [{ time = "0.5 s", position = "0, 0, -45 mm" }]
# until = "0.8 s"
# force_limit = "60 N"

# -- where a finger or a hand could be: results say how that gap closes
# [[hand]]
# name = "finger under the pole"
# body = "magnet"
# face = "-z"
# gap = "25 mm"                   # 25 mm for a finger, 100 mm for a hand

# -- a material of your own
# [[material]]
# name = "test iron"
# density = "7200 kg/m^3"
# susceptibility = 400            # with saturation; or curve = [["0 A/m", "0 T"], ...];
# saturation = "1.6 T"            # or remanence = "1.3 T" for a magnet
# youngs_modulus = "110 GPa"      # also poissons_ratio, hardness, conductivity
"""

STARTER = _SCENE + _MORE


def starter(file: str, short: bool = False) -> str:
    """Return the starter scene, `file` named in its comments; `short`: the scene with few words."""
    if not short:
        return STARTER.replace("THIS.toml", file)
    lines = [line for line in _SCENE.splitlines() if not line.startswith("#")]
    bare = [line.split("   #", 1)[0].rstrip() for line in lines]
    head = (
        f"# Invented example, not measured. `snapsim new {file}` without --short explains each key."
    )
    return "\n".join([head, *bare]).rstrip() + "\n"


def new_scene() -> str:
    """Return the starter's rig to build on: its part lies flat on the table, out of danger."""
    scene = tomllib.loads(_SCENE)
    _, disc, table = scene["body"]
    scene["title"] = "New scene"
    disc["position"], table["position"] = "0, 0, -114 mm", "0, 0, -135 mm"
    del scene["note"], disc["rotation"], scene["contact"]["pair"]
    return toml_text.rewritten(starter("scene.toml", short=True).split("\n", 1)[1], scene)
