import assert from "node:assert/strict";
import { test } from "node:test";

import { load } from "./scripts.js";

const { snapsim } = load("viewer.js", "hands.js", "playing.js", "parts.js", "showing.js", "lost.js", "page.js");
let page = null;
snapsim.plugin.install({ component: (name, made) => { if (name === "snap-page") page = made; } });

const curve = { along: "tilt", axis: [0, 1, 0] };
const snaps = (margin) => page.computed.snaps.call({ margin, curve });

test("a pose that stays is marked from where it may snap, the error bar taken off, outward", () => {
  const way = { kind: "tilt", axis: [0, -1, 0], snaps_beyond_deg: 12, snaps_beyond_error_deg: 2 };
  const [found] = snaps({ present: { fate: "stays" }, ways: [way] });
  assert.deepEqual({ ...found }, { at: -12, from: -10, to: -1e4, error: 2, known: true, now: false });
});

test("a pose that snaps is marked from here on, to the end where no safe tilt is known", () => {
  const way = { kind: "tilt", axis: [0, 1, 0], safe_from_deg: null, safe_from_error_deg: null };
  const [found] = snaps({ present: { fate: "snaps" }, ways: [way] });
  assert.deepEqual([found.from, found.to, found.known], [0, 400, false]);
});

test("ways about another axis and ways that never snap mark nothing", () => {
  const ways = [
    { kind: "tilt", axis: [1, 0, 0], snaps_beyond_deg: 5 },
    { kind: "tilt", axis: [0, 1, 0], snaps_beyond_deg: null },
    { kind: "push", axis: [0, 1, 0], snaps_beyond_deg: 5 },
  ];
  assert.equal(snaps({ present: { fate: "stays" }, ways }).length, 0);
});

test("a ball, which no tilt tells anything of, is marked along its way to the magnet, in mm", () => {
  const moved = { along: "lift", axis: [0, 0, 1] };
  const way = { kind: "lift", direction: [0, 0, 1], snaps_beyond_m: 0.02, snaps_beyond_error_m: 0.001 };
  const margin = { present: { fate: "stays" }, ways: [way] };
  const [found] = page.computed.snaps.call({ margin, curve: moved });
  assert.deepEqual([found.at, found.from, found.error], [20, 19, 1]);
});

test("a hollow of the curve inside a band that snaps is called no rest", () => {
  const marks = (/** @type {any[]} */ found) => snapsim.parts.SnapCurve.computed.marks.call({
    stacked: snapsim.parts.SnapCurve.methods.stacked,
    curve: { extremes: [{ at: 30, energy_J: 1, crest: false }] }, snaps: found, scale: ["J", 1], mark: "°",
    f: { x: (/** @type {number} */ x) => x, y: (/** @type {number} */ y) => y, left: 0, right: 400 },
  });
  assert.match(marks([{ from: 20, to: 90 }])[0].text, /no rest/);
  assert.equal(marks([{ from: 40, to: 90 }])[0].caught, false);
});

test("the verdict is the server's own answer and all ways, not a second opinion", () => {
  const margin = { answer: "Let go now, it snaps.", ways: [{ sentence: "a" }, { sentence: "b" }] };
  assert.equal(page.computed.fateWords.call({ margin }), "Let go now, it snaps.");
  assert.deepEqual([...page.computed.wayWords.call({ margin })], ["a", "b"]);
});

test("files are named after the scene, whatever it is called", () => {
  const stem = (file) => page.methods.stem.call({ file });
  assert.equal(stem("C:\\rigs\\gear blank.v2.toml"), "gear-blank-v2");
  assert.equal(stem("/a/b.toml"), "b");
  assert.equal(stem("../..toml"), "run");
});

test("an answer to an earlier place does not move the part away from a newer wish", () => {
  const shown = [];
  const self = { takePose() {}, want: { position: [0, 0, 0] }, holding: false, jointed: false, complain() {}, see() {}, showPose: () => shown.push(1) };
  page.methods.answered.call(self, { pose: {}, figures: {} }, 0);
  assert.equal(shown.length, 0);
  page.methods.answered.call({ ...self, want: null }, { pose: {}, figures: {} }, 0);
  assert.equal(shown.length, 1);
});

test("an answer that is a fault is told once and not asked for again", async () => {
  const told = [];
  let asked = 0;
  const self = {
    call: async () => { asked += 1; return { error: { key: null, message: "no" } }; },
    complain: (key, answer) => told.push([key, answer.error.message]), see: () => assert.fail("asked again"), later() {},
  };
  await page.methods.lookAgain.call(self);
  assert.deepEqual([asked, told], [1, [["figures", "no"]]]);
});

test("a complaint goes with the value it was about, not with another field's", () => {
  const self = { pose: { typed_mm: [0, 0, 0], typed_deg: [0, 0, 0] }, complaints: { x: "no", about_z: "no", "run.duration": "no" } };
  page.methods.takePose.call(self, { typed_mm: [1, 0, 0], typed_deg: [0, 0, 0] });
  assert.deepEqual(Object.keys(self.complaints), ["about_z", "run.duration"]);
});

const judged = (verdict, more = {}) => page.computed.answer.call({
  mode: "place", verdict, verdictFor: "a", poseKey: "a", complaints: {}, trouble: "", drafting: null, ...more,
});

test("a verdict that calms does not stand once the scene has changed; one that warns does, marked", () => {
  const calm = { kind: "calm", says: "In this draft run the disc falls back.", more: [], limits: [], pull_low_by: 0.031 };
  assert.equal(judged(calm).says, calm.says);
  assert.match(judged(calm).mark, /4 % stronger/); // never rounded down
  assert.doesNotMatch(judged(calm, { poseKey: "b" }).says, /falls back/);
  const warns = { ...calm, kind: "snaps", says: "Let go now, the disc snaps." };
  assert.equal(judged(warns, { poseKey: "b" }).says, warns.says);
  assert.match(judged(warns, { poseKey: "b" }).mark, /earlier/);
});

test("a draft that failed is told as that, and nothing is said to be safe", () => {
  assert.match(judged(null, { complaints: { draft: "no room" } }).says, /No verdict: no room/);
});

test("a key pressed while an answer is under way builds on the newest wish", () => {
  const taken = [];
  const self = { want: { position: [0, 0, 2] }, complain() {}, see() {}, showPose() {}, takePose: () => taken.push(1) };
  page.methods.answered.call(self, { pose: {}, figures: {} }, 0);
  assert.equal(taken.length, 0);
});

test("the bar of a pull is that of two meshes once known, and beside other iron none before", () => {
  const reads = (figures, card) => page.computed.reads.call({
    figures, byPart: card && { cards: [{ name: "nut", ...card }] }, byPartFor: "pose", poseKey: "pose", partName: "nut" });
  assert.equal(reads({ force_low_by_up_to: 0.06, close_to: null }, null), ", reads low by up to 6 %");
  assert.equal(reads({ force_low_by_up_to: 0.06, close_to: null }, { low_by: 0.012 }), ", reads low by up to 2 %");
  assert.match(reads({ force_low_by_up_to: null, close_to: "ring" }, null), /ring is close/);
  assert.equal(reads({ force_low_by_up_to: null, close_to: "ring" }, { low_by: 8.4 }), ", but may be 9.4 times as strong");
  assert.match(reads({ force_low_by_up_to: null, close_to: "ring" }, { low_by: null }), /not known beside ring/);
});
