import assert from "node:assert/strict";
import { test } from "node:test";

import { load } from "./scripts.js";

const { snapsim } = load("viewer.js", "hands.js", "playing.js", "parts.js", "showing.js", "lost.js", "page.js");
let page = null;
snapsim.plugin.install({ component: (name, made) => { if (name === "snap-page") page = made; } });

const curve = { axis: [0, 1, 0] };
const snaps = (margin) => page.computed.snaps.call({ margin, curve });

test("a pose that stays is marked from where it snaps outward, to the side the tilt goes", () => {
  const way = { kind: "tilt", axis: [0, -1, 0], snaps_beyond_deg: 12, snaps_beyond_error_deg: 2 };
  const [found] = snaps({ present: { fate: "stays" }, ways: [way] });
  assert.deepEqual({ ...found }, { at: -12, from: -12, to: -400, error: 2, known: true, now: false });
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

test("a fate that was not found is not told as a safe one", () => {
  const words = (fate) => page.computed.fateWords.call({ margin: { present: { fate, reaches: "magnet" } } });
  assert.match(words("snaps"), /snaps to magnet/);
  assert.match(words("a fate of tomorrow"), /not found/);
});

test("files are named after the scene, whatever it is called", () => {
  const stem = (file) => page.methods.stem.call({ file });
  assert.equal(stem("C:\\rigs\\gear blank.v2.toml"), "gear-blank-v2");
  assert.equal(stem("/a/b.toml"), "b");
  assert.equal(stem("../..toml"), "run");
});

test("an answer to an earlier place does not move the part away from a newer wish", () => {
  const shown = [];
  const self = { want: { position: [0, 0, 0] }, holding: false, jointed: false, complain() {}, see() {}, showPose: () => shown.push(1) };
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
