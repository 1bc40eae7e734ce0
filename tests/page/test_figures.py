"""The figures that follow a drag, where other bodies stand in one place."""

from dataclasses import replace

from snapsim.landscape.place import Place
from snapsim.page.figures import probe
from snapsim.parts.shapes import Box


def test_figures_name_two_other_bodies_that_overlap_and_give_no_force(snap, make_body, materials):
    """The magnet's twin 10 mm inside it: no force on the ring could be right."""
    twin = make_body("twin", Box((0.06, 0.06, 0.03)), materials["magnet"], (0, 0, -1), True)
    start = snap.start
    position = start.pose.position.copy()
    position[2] = position[0] + [0, 0, 0.02]
    moved = replace(
        snap,
        bodies=(*snap.bodies[:2], twin),
        start=replace(start, pose=replace(start.pose, position=position)),
    )
    made = probe(moved, 1, "draft")
    found = made.figures(Place(position[1], start.pose.quaternion[1]))
    assert (found["overlap"]["of"], found["overlap"]["with"]) == ("magnet", "twin")
    assert round(found["overlap"]["depth_m"], 9) == 0.01
    assert "force_N" not in found
