import assert from "node:assert/strict";
import { test } from "node:test";

import { close, load } from "./scripts.js";

const { snapsim } = load("viewer.js", "sizing.js", "dropping.js");
const { sizeAt, drawnTo, rounded, sizeWords } = snapsim;
const { add, rotate, about, unit, sub } = snapsim.math;

const face = { key: "size", component: 2, point: [0, 0, 0.02], axis: [0, 0, 1], growth: 1, shift: 0.5, stretch: [2], value: 0.04, words: "" };
const rim = { key: "diameter", component: null, point: [0.03, 0, 0], axis: [1, 0, 0], growth: 2, shift: 0, stretch: [0, 1], value: 0.06, words: "" };
const pose = { position: [0.1, 0.2, 0.3], quaternion: about([0, 1, 1], 0.7) };
const eye = [1, -2, 0.7];
const toward = (point) => ({ eye, way: unit(sub(point, eye)) });

test("a face that is drawn is under the pointer, and the opposite one stays where it was", () => {
  for (const grown of [-0.03, -0.004, 0.02, 0.5]) {
    const value = sizeAt(pose, face, toward(add(pose.position, rotate(pose.quaternion, [0, 0, 0.02 + grown]))), false);
    assert.ok(close(value, Math.max(0.04 + grown, 1e-4), 0.6e-4), `${grown}: ${value}`);
    const { outline, point } = drawnTo(pose, face, value);
    const other = add(outline.position, rotate(pose.quaternion, [0, 0, -value / 2]));
    assert.ok(close(other, add(pose.position, rotate(pose.quaternion, [0, 0, -0.02])), 1e-12));
    assert.ok(close(point, add(outline.position, rotate(pose.quaternion, [0, 0, value / 2])), 1e-12));
    assert.deepEqual([...outline.stretch], [1, 1, value / 0.04]);
  }
});

test("a rim that is drawn grows both ways", () => {
  const value = sizeAt(pose, rim, toward(add(pose.position, rotate(pose.quaternion, [0.04, 0, 0]))), false);
  assert.ok(close(value, 0.08, 0.6e-4));
  assert.ok(close(drawnTo(pose, rim, value).outline.position, pose.position, 1e-12));
});

test("a size is whole where that is asked for, and a tenth of a millimetre else", () => {
  assert.ok(close(rounded(0.01234, true), 0.012, 1e-12));
  assert.ok(close(rounded(0.01234, false), 0.0123, 1e-12));
  assert.ok(close(rounded(-1, true), 0.001, 1e-12));
  assert.equal(sizeAt(pose, face, { eye, way: rotate(pose.quaternion, [0, 0, 1]) }, false), null);
});

test("a file's size is told in millimetres for each unit", () => {
  assert.equal(sizeWords([1, 0.5, 2.3], "inch"), "25.4 × 12.7 × 58.4 mm");
  assert.equal(sizeWords([30, 20, 10], "mm"), "30 × 20 × 10 mm");
  assert.equal(sizeWords([30, 20, 10], "m"), "30000 × 20000 × 10000 mm");
});
