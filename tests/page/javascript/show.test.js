// The steps of a show: what plays, how fast, and what stands beside it.
import assert from "node:assert/strict";
import { test } from "node:test";
import { load } from "./scripts.js";

const { snapsim } = load("viewer.js", "parts.js", "show.js");
const record = { end: 1, blow: { time: 0.4, words: "strikes" }, says: ["It snaps.", "It ends flat."], warning: "" };

test("a run is shown standing, at true speed, slowed round its blow, and at its end", () => {
  const [scene, fast, slow, end] = snapsim.showSteps(record, "What a note says.");
  assert.deepEqual([scene.pace, scene.words], [0, "What a note says."]);
  assert.deepEqual([fast.pace, fast.from, fast.to], [1, 0, 1]);
  assert.ok(slow.pace === 0.05 && slow.from < 0.4 && slow.to > 0.4);
  assert.equal(slow.name, "20 times slowed");
  assert.equal(end.words, "It snaps. It ends flat.");
});

test("without a blow all of it is slowed, and a warning is not told twice", () => {
  const [, , slow, end] = snapsim.showSteps({ ...record, blow: null, warning: "UNTRUSTED", says: ["UNTRUSTED.", "It stays."] }, "");
  assert.deepEqual([slow.from, slow.to, slow.name], [0, 1, "4 times slowed"]);
  assert.equal(end.words, "It stays.");
});

test("a remote control's keys go on and back", () => {
  assert.equal(snapsim.SHOW_KEYS.PageDown, 1);
  assert.equal(snapsim.SHOW_KEYS.PageUp, -1);
});
