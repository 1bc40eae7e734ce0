"""The scene that `snapsim new` writes: it runs as it is and shows what can be written."""

STARTER = """\
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
restitution = 0.3                 # 0 no rebound, 1 full rebound
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

# [[material]]
# name = "test iron"
# density = "7200 kg/m^3"
# susceptibility = 400            # with saturation; or curve = [["0 A/m", "0 T"], ...];
# saturation = "1.6 T"            # or remanence = "1.3 T" for a magnet
# youngs_modulus = "110 GPa"      # also poissons_ratio, strength, conductivity
"""
