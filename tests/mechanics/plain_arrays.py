"""Blows and steps of free bodies from plain arrays, as tests write them."""

import numpy as np

from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.mobility import Mobility, nothing_held
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State


def free_bodies(inverse_mass, inverse_inertia, position, velocity, spin):
    """The mobility and the state; inertia in world axes, so how the bodies are turned is open."""
    mass, inertia = np.array(inverse_mass, float), np.array(inverse_inertia, float)
    x, v, w = (np.array(a, float) for a in (position, velocity, spin))
    pose = Pose(x, np.tile(rotations.IDENTITY, (len(x), 1)))
    return Mobility(mass, inertia, nothing_held(len(mass))), State(pose, v, w)


def contacts_of(pair, point, normal, gap=0.0):
    """Contacts (c,)."""
    pairs = np.array(pair, dtype=np.int64).reshape(-1, 2)
    gaps = np.array(np.broadcast_to(np.asarray(gap, float), (len(pairs),)))
    points, normals = (np.array(a, float).reshape(-1, 3) for a in (point, normal))
    return ContactSet(pairs, points, normals, gaps)


def each(value, contacts):
    """One number per contact (c,)."""
    return np.array(np.broadcast_to(np.asarray(value, float), (len(contacts),)))
