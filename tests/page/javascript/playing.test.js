import assert from "node:assert/strict";
import { test } from "node:test";

import { close, load, packed } from "./scripts.js";

const { snapsim } = load("viewer.js", "playing.js");

// A part that moves by a cubic, turns evenly about z, and is thrown back at t = 0.5.
function run() {
  const time = [0, 0.2, 0.5, 0.5, 0.9], sign = [1, 1, 1, -1, -1];
  const position = time.flatMap((t) => [t ** 3, 2 * t, 0]);
  const velocity = time.flatMap((t, k) => [sign[k] * 3 * t ** 2, 2 * sign[k], 0]);
  const quaternion = time.flatMap((t) => [Math.cos(t), 0, 0, Math.sin(t)]);
  const f = (values) => packed(Float32Array.from(values));
  return new snapsim.Recording({
    time: packed(Float64Array.from(time)), part: 1,
    bodies: [["part", 1], ["other", 2]].map(([name, index]) => ({
      index, name, position: f(position.map((p) => index * p)), velocity: f(velocity), quaternion: f(quaternion), spin: f(time.flatMap(() => [0, 0, 2])),
      force: f(time.flatMap((t) => [0, 3 * t * index, 4 * t * index])), torque: f(time.flatMap(() => [0, 0, index])),
      speed: f(time.map((t) => index * t)), weight_N: 10 * index,
    })),
    kinetic: f(time.map((t) => t * t)), gap: f(time.map((t) => 1 - t)),
  });
}

test("between frames places follow the cubic that their speeds ask for, turns the one that their spins do", () => {
  const [pose] = run().poses(0.37);
  assert.ok(close(pose.position, [0.37 ** 3, 0.74, 0], 1e-7)); // stored in single precision
  assert.ok(close(pose.quaternion, [Math.cos(0.37), 0, 0, Math.sin(0.37)], 1e-6));
});

test("frames just before and just after an impact are never mixed", () => {
  const record = run();
  assert.equal(record.frame(0.5).low, 3);
  assert.equal(record.frame(0.4999999).low, 1);
  assert.ok(close(record.figures(0.5).speed, 0.5, 1e-7));
});

test("before the first and after the last frame the run stands still", () => {
  const record = run();
  assert.ok(close(record.poses(-1)[0].position, [0, 0, 0], 1e-12));
  assert.ok(close(record.poses(9)[0].position, [0.729, 1.8, 0], 1e-6));
  assert.equal(record.end, 0.9);
});

test("figures run straight between frames; the pull is the force's length", () => {
  const record = run(), now = record.figures(0.35);
  assert.ok(close(now.kinetic, 0.5 * (0.04 + 0.25), 1e-6));
  assert.ok(close(now.gap, 0.65, 1e-6));
  assert.ok(close([...record.pull()], [0, 1, 2.5, 2.5, 4.5], 1e-6));
});

test("figures, force and path are those of the body that is followed; one that does not move is not", () => {
  const record = run();
  assert.deepEqual([record.part, record.partName, record.weight_N], [1, "part", 10]);
  record.pull();
  record.follow(2);
  assert.deepEqual([record.part, record.partName, record.weight_N], [2, "other", 20]);
  assert.ok(close(record.figures(0.35).speed, 0.7, 1e-6));
  assert.ok(close([...record.pull()], [0, 2, 5, 5, 9], 1e-6));
  assert.ok(close(record.path(2).at(-1), [1.458, 3.6, 0], 1e-6));
  record.follow(7);
  assert.equal(record.partName, "part");
});

test("a thinned path begins and ends where the part does", () => {
  const path = run().path(2);
  assert.ok(close(path[0], [0, 0, 0], 1e-12));
  assert.ok(close(path.at(-1), [0.729, 1.8, 0], 1e-6));
});

test("a clock goes at its pace, stops at the end, says so once, and begins anew", () => {
  const { snapsim: here, window, frames } = load("viewer.js", "playing.js");
  const seen = [];
  let ended = 0;
  const clock = new here.Clock((t) => seen.push(t), () => ended++);
  Object.assign(clock, { end: 0.01, pace: 0.1 });
  clock.play();
  clock.play(); // twice is once
  while (frames.length) {
    window.now += 20;
    frames.shift()(window.now);
  }
  assert.ok(close(seen, [0.002, 0.004, 0.006, 0.008, 0.01], 1e-12));
  assert.equal(ended, 1);
  assert.ok(!clock.playing);
  clock.play();
  assert.equal(clock.time, 0);
  clock.pause();
  frames.shift()(window.now + 20);
  assert.equal(frames.length, 0);
});
