"""The overlay as pictures: where marks and outlines land, and what may lie behind."""

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from snapsim.errors import InputError
from snapsim.footage.backdrop import FootageBackdrop, first_frame
from snapsim.footage.clip import COMPUTED, SHAPE, canvas_of, picture, strips, write_clip
from snapsim.footage.outlines import outline
from snapsim.footage.overlay import overlay
from snapsim.footage.tracks import Footage, Track
from snapsim.footage.views import Pinhole, PlaneView
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS
from snapsim.parts.shapes import Box, Sphere
from snapsim.render.formats import MP4
from snapsim.render.palette import rgb

X, Z = np.array([1.0, 0, 0]), np.array([0.0, 0, 1])
VIEW = PlaneView((640.0, 480.0), 0.0, 0.0, True, X, Z, 400.0, (200.0, 460.0))


def body(shape):
    return Body("ball", shape, MATERIALS["aluminium"], None, fixed=False)


@pytest.fixture
def laid(falls):
    time = np.arange(0, 0.1, 0.02)
    place = np.stack([200 + 0 * time, 460 - 400 * (1 - 0.5 * 9.80665 * time**2) + 5], axis=1)
    tracks = (Track("p", "ball", np.zeros(3), time, place),)
    return overlay(Footage(tracks, "t.csv", ""), VIEW, falls, (body(Sphere(0.2)),), 0.0)


def near(frame, colour, at, reach):
    """Share of pixels within reach of a place that have a colour, more or less."""
    u, v = (round(c) for c in at)
    patch = np.asarray(frame)[v - reach : v + reach + 1, u - reach : u + reach + 1].astype(int)
    return float((np.abs(patch - np.array(rgb(colour))).sum(axis=2) < 120).mean())


def test_marks_and_outline_are_where_the_camera_sees_them(laid):
    canvas = canvas_of(laid, "px", None)
    assert (canvas.scale, canvas.size) == (2, (1280, 960))
    frame = picture(laid, canvas, 0.04, "A fall", "px", 30)
    top = strips(canvas.size)[0]
    assert frame.size == (1280, 960 + sum(strips(canvas.size)))
    centre = 2 * laid.computed[0][2] + np.array([0, top])
    assert near(frame, COMPUTED, centre, 10) > 0.05  # the ring
    edge = centre + np.array([2 * 400 * 0.1, 0])  # 0.1 m of radius
    assert near(frame, SHAPE, edge, 2) > 0.1
    assert near(frame, SHAPE, edge + np.array([20, 0]), 4) == 0


def area_of(shape):
    first, second = (shape.faces[:, k] - shape.faces[:, 0] for k in (1, 2))
    return 0.5 * np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]).sum()


def test_the_outline_of_a_box_is_its_silhouette(falls):
    shape = outline(falls, VIEW, body(Box((0.2, 0.3, 0.1))), 0.0)
    corners = np.unique(shape.edges.reshape(-1, 2).round(6), axis=0)
    np.testing.assert_allclose(corners, [[160, 40], [160, 80], [240, 40], [240, 80]])
    # seen square on, only the face towards the camera is a front face
    assert area_of(shape) == pytest.approx(80 * 40)


def test_front_faces_are_those_turned_to_the_camera(falls):
    # of a cube seen square on from near by only the near face, two triangles, can be seen
    for down in (True, False):
        camera = Pinhole(
            (640.0, 480.0), 0.0, 0.0, down, np.array([0.0, -1, 1]), np.array([X, Z, [0, 1, 0]]),
            450.0, (320.0, 240.0),
        )  # fmt: skip
        shape = outline(falls, camera, body(Box((0.2, 0.2, 0.2))), 0.0)
        assert len(shape.faces) == 2
        assert area_of(shape) == pytest.approx((450 * 0.2 / 0.9) ** 2)  # 0.9 m away


def test_a_clip_has_a_picture_for_each_frame_over_the_video_given(laid, tmp_path):
    grey = np.array([np.full((240, 320, 3), 60 + 40 * k, np.uint8) for k in range(4)])
    MP4.encode(grey, tmp_path / "piece.mp4", (320, 240), 50, 0)
    MP4.join([tmp_path / "piece.mp4"], tmp_path / "film.mp4", 50)
    target = tmp_path / "out.mp4"
    assert write_clip(laid, target, "A fall", "px", str(tmp_path / "film.mp4")) == 5
    with FootageBackdrop(str(target)) as clip:
        frames = [clip.frame(k) for k in range(6)]
    assert frames[5] is frames[4]  # there are five
    seen = [int(np.median(f[500:700, 900:1200])) for f in frames[:5]]
    # frame for frame, and the last one stays where the video has ended; H.264 keeps greys to 3
    np.testing.assert_allclose(seen, [60, 100, 140, 180, 180], atol=4)


@pytest.mark.parametrize(
    ("wide", "high", "said"),
    # ISO/IEC 15948, 11.2.2: a head may speak of 2^31 - 1 either way
    [(2**31 - 1, 2**31 - 1, "pixels; at most 50 million"), (60_000, 60_000, "at most 50 million"),
     (9000, 9000, "9000 x 9000 pixels"), (0, 5, "no picture")],
)  # fmt: skip
def test_a_picture_of_a_size_that_none_has_is_refused(tmp_path, wide, high, said):
    held = io.BytesIO()
    Image.new("RGB", (40, 30)).save(held, "PNG")
    data = bytearray(held.getvalue())
    data[16:24] = struct.pack(">II", wide, high)
    data[29:33] = struct.pack(">I", zlib.crc32(bytes(data[12:29])))
    (tmp_path / "a.png").write_bytes(data)
    with pytest.raises(InputError, match=said):
        first_frame(str(tmp_path / "a.png"))


@pytest.mark.parametrize(("name", "said"), [("none.png", "no such file"), ("bad.mp4", "no picture"),
                                            ("bad.png", "no picture")])  # fmt: skip
def test_what_cannot_lie_behind_is_refused_in_one_line(tmp_path, name, said):
    if name.startswith("bad"):
        (tmp_path / name).write_text("nothing to see")
    with pytest.raises(InputError, match=said) as caught:
        first_frame(str(tmp_path / name))
    assert "\n" not in str(caught.value)
