import assert from "node:assert/strict";
import { test } from "node:test";

import { close, load } from "./scripts.js";

const { snapsim } = load("viewer.js", "hands.js");
const { add, dot, rotate } = snapsim.math;

function scene(tool, axis = "") {
  const listeners = {}, told = [], held = [];
  const canvas = {
    clientWidth: 800, clientHeight: 500, style: {}, setPointerCapture() {},
    getBoundingClientRect: () => ({ left: 0, top: 0 }), addEventListener: (name, f) => { listeners[name] = f; },
  };
  const box = { positions: [-0.05, -0.05, 0, 0.05, -0.05, 0, 0, 0.08, 0], order: [0, 1, 2], opacity: 1 };
  const view = Object.assign(Object.create(snapsim.StageView.prototype), {
    canvas, bodies: [box], poses: [{ position: [0, 0, 0], quaternion: [1, 0, 0, 0] }], size: 0.3, marked: -1,
    refresh() {}, stir() {}, put(k, position, quaternion) { this.poses[k] = { position, quaternion }; },
    camera: { target: [0, 0, 0], distance: 1.2, azimuth: -1.1, elevation: 0.6 },
  });
  new snapsim.Hands(view, {
    part: () => 0, tool: () => tool, axis: () => axis, held: (now) => held.push(now), other() {},
    moved: (position, quaternion) => told.push({ position, quaternion }),
  });
  const event = (x, y, id = 1) => ({ clientX: x, clientY: y, pointerId: id, button: 0, buttons: 1, shiftKey: false, pointerType: "mouse" });
  const drag = (from, to) => {
    listeners.pointerdown(event(...from));
    listeners.pointermove(event(...to));
    listeners.pointerup(event(...to));
  };
  return { view, told, held, drag, listeners, event };
}

test("a part that is dragged stays below the pointer, in the plane of the screen", () => {
  const { view, told, held, drag } = scene("move");
  const grip = view.pick(400, 250).point, { back } = view.axes();
  drag([400, 250], [460, 220]);
  const { position } = told.at(-1);
  assert.ok(close(view.project(add(grip, position)).slice(0, 2), [460, 220], 1e-9));
  assert.ok(close(dot(position, back), 0, 1e-12));
  assert.deepEqual(held, [true, false]);
});

test("along an axis it moves along that alone", () => {
  const { told, drag } = scene("move", "z");
  drag([400, 250], [430, 200]);
  const { position } = told.at(-1);
  assert.ok(close(position.slice(0, 2), [0, 0], 1e-15));
  assert.ok(position[2] > 0.01); // upward on the screen is up
});

test("tilting about an axis turns about it, and leaves the centre", () => {
  const { told, drag } = scene("tilt", "y");
  drag([400, 250], [450, 250]);
  const { position, quaternion } = told.at(-1);
  assert.ok(close(position, [0, 0, 0], 1e-15));
  assert.ok(close(rotate(quaternion, [0, 1, 0]), [0, 1, 0], 1e-14));
  assert.ok(Math.abs(quaternion[2]) > 0.01);
});

test("dragging beside the part moves the camera and not the part", () => {
  const { view, told, drag } = scene("move");
  const before = view.camera.azimuth;
  drag([20, 20], [60, 20]);
  assert.equal(told.length, 0);
  assert.notEqual(view.camera.azimuth, before);
});

test("two fingers moved apart come nearer", () => {
  const { view, listeners, event } = scene("move");
  const before = view.camera.distance;
  listeners.pointerdown(event(20, 20, 1));
  listeners.pointerdown(event(40, 20, 2));
  listeners.pointermove(event(60, 20, 2));
  assert.ok(close(view.camera.distance, before / 2, 1e-12));
});
