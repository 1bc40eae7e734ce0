import assert from "node:assert/strict";
import { test } from "node:test";

import { close, load, packed } from "./scripts.js";

const { snapsim } = load("viewer.js");
const { add, cross, dot, length, multiply, about, rotate, turned, unit, normalised } = snapsim.math;
const some = [[0.3, -0.8, 0.5], [1, 0, 0], [-0.2, 0.1, 2]];

test("a quarter turn about z takes x to y", () => {
  assert.ok(close(rotate(about([0, 0, 1], Math.PI / 2), [1, 0, 0]), [0, 1, 0], 1e-15));
});

test("a product of quaternions turns as one turn after the other", () => {
  const p = about(some[0], 1.1), q = about(some[2], -2.3);
  for (const v of some) assert.ok(close(rotate(multiply(p, q), v), rotate(p, rotate(q, v)), 1e-14));
});

test("a turn keeps lengths, and a vector along its axis", () => {
  const q = normalised(about(some[0], 0.7).map((c) => 3 * c));
  assert.ok(close(length(rotate(q, some[2])), length(some[2]), 1e-14));
  assert.ok(close(rotate(q, some[0]), some[0], 1e-14));
  assert.ok(close(dot(cross(some[0], some[2]), some[0]), 0, 1e-15));
});

test("turns between frames are those of snapsim/numerics/between_frames.py", () => {
  const q0 = [0.562543950463012, -0.1125087900926024, 0.7875615306482167, 0.2250175801852048];
  const q1 = [0.7242849178204323, -0.15703792633815525, 0.5677334360440831, 0.35837019003656084];
  const w0 = [6, -9, 5], w1 = [5, -12, 3], ten = (w) => w.map((c) => 10 * c);
  const cubic = [0.611483831916634, -0.12784244333930322, 0.7316330116091212, 0.2728680437672289];
  assert.ok(close(turned(q0, q1, w0, w1, 0.05, 0.3), cubic, 1e-14));
  assert.ok(close(turned(q0, q1.map((c) => -c), w0, w1, 0.05, 0.3), cubic, 1e-14));
  const even = [0.6174385401920077, -0.1271952096469282, 0.7285845791564233, 0.2678722433248626]; // spins too fast for the turn
  assert.ok(close(turned(q0, q1, ten(w0), ten(w1), 0.05, 0.3), even, 1e-14));
  assert.ok(close(turned(q0, q1, w0, w1, 0.05, 0), q0, 1e-15));
  assert.ok(close(turned(q0, q1, w0, w1, 0.05, 1), q1, 1e-15));
});

test("a steady spin turns evenly", () => {
  const p = about(some[0], 0.2), q = about(some[0], 1.4), w = unit(some[0]).map((c) => 12 * c);
  for (const s of [0, 0.25, 0.5, 1]) {
    assert.ok(close(turned(p, q, w, w, 0.1, s), about(some[0], 0.2 + 1.2 * s), 1e-14));
  }
});

test("packed numbers come out as they went in", () => {
  assert.deepEqual([...snapsim.floats(packed(new Float32Array([1.5, -2])))], [1.5, -2]);
  assert.deepEqual([...snapsim.indices(packed(new Uint32Array([7, 2 ** 31])))], [7, 2 ** 31]);
});

function stage(bodies = [], poses = []) {
  const view = Object.create(snapsim.StageView.prototype);
  return Object.assign(view, {
    canvas: { clientWidth: 800, clientHeight: 500 }, bodies, poses, size: 0.3, refresh() {}, stir() {},
    camera: { target: [0.1, 0, -0.05], distance: 1.2, azimuth: -1.1, elevation: 0.35 },
  });
}

test("the ray through a point's picture passes through the point", () => {
  const view = stage();
  for (const point of [[0, 0, 0], [0.2, -0.1, 0.05], [-0.1, 0.15, -0.2]]) {
    const [x, y, far] = view.project(point), { eye, way } = view.ray(x, y);
    const along = dot(add(point, eye, -1), way);
    assert.ok(close(add(eye, way, along), point, 1e-12));
    assert.ok(far > 0);
  }
});

const TRIANGLE = { positions: [-0.05, -0.05, 0, 0.05, -0.05, 0, 0, 0.05, 0], order: [0, 1, 2], opacity: 1 };

test("the nearest body under the pointer is picked, where it is hit, and none beside it", () => {
  const at = (z) => ({ position: [0.1, 0, z], quaternion: [1, 0, 0, 0] });
  const view = stage([TRIANGLE, TRIANGLE], [at(-0.1), at(0.1)]);
  view.camera.elevation = 1.5; // from above
  const [x, y] = view.project([0.1, 0, 0.1]);
  const hit = view.pick(x, y);
  assert.equal(hit.index, 1);
  assert.ok(close(hit.point, [0.1, 0, 0.1], 1e-12));
  assert.equal(view.pick(5, 5), null);
});

test("a body that can be seen through comes last", () => {
  const at = (z) => ({ position: [0.1, 0, z], quaternion: [1, 0, 0, 0] });
  const view = stage([TRIANGLE, { ...TRIANGLE, opacity: 0.3 }], [at(-0.1), at(0.1)]);
  view.camera.elevation = 1.5;
  assert.equal(view.pick(...view.project([0.1, 0, 0.1]).slice(0, 2)).index, 0);
});

test("panning brings the point below the pointer along", () => {
  const view = stage(), point = [0.1, 0, -0.05]; // in the plane of the target
  const [x, y] = view.project(point);
  view.pan(40, -25);
  assert.ok(close(view.project(point).slice(0, 2), [x + 40, y - 25], 1e-9));
});

test("zooming stops at its ends", () => {
  const view = stage();
  view.zoom(1e-9);
  assert.ok(close(view.camera.distance, 0.3 * view.size, 1e-12));
  view.zoom(1e9);
  assert.ok(close(view.camera.distance, 40 * view.size, 1e-12));
});
