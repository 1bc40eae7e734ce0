// When a rehearsal warns, how often it was heard of, and what it says of its pace.
import assert from "node:assert/strict";
import { test } from "node:test";
import { load } from "./scripts.js";

const { snapsim } = load("viewer.js", "parts.js", "rehearsing.js");
const moment = (more) => ({ held: true, lost: false, used: 0.1, speed: 0, beats_in_m: 0.05, lifts_in_m: 0.04, ...more });

test("nothing warns far away and at rest, and a draft that snaps does", () => {
  assert.equal(snapsim.dangerOf(moment({}), null), "calm");
  assert.equal(snapsim.dangerOf(moment({ lifts_in_m: null, beats_in_m: null }), null), "calm");
  assert.equal(snapsim.dangerOf(moment({}), { kind: "may_snap" }), "goes");
});

test("half a second of the present way counts as near, and five millimetres at rest", () => {
  assert.equal(snapsim.dangerOf(moment({ speed: 0.11 }), null), "edge");
  assert.equal(snapsim.dangerOf(moment({ speed: 0.09 }), null), "goes");
  assert.equal(snapsim.dangerOf(moment({ beats_in_m: 0.004 }), null), "edge");
});

test("a hand near its limit is on the edge, an open one is not, a lost part is lost", () => {
  assert.equal(snapsim.dangerOf(moment({ used: 0.85 }), null), "edge");
  assert.equal(snapsim.dangerOf(moment({ held: false, beats_in_m: 0 }), null), "calm");
  assert.equal(snapsim.dangerOf(moment({ held: false, lost: true }), null), "lost");
});

test("moments are counted over the last second", () => {
  const counter = new snapsim.Counter();
  for (let k = 0; k <= 120; k++) counter.count(k, 1000 * k / 60);
  assert.ok(Math.abs(counter.count(120, 2000) - 60) < 1);
});

test("a pace that is not kept is said, with by how much", () => {
  assert.equal(snapsim.paceWords({ kept: 0.98, pace: 1 }), "at true speed");
  assert.equal(snapsim.paceWords({ kept: 0.25, pace: 0.25 }), "at 4 times slowed");
  assert.match(snapsim.paceWords({ kept: 0.4, pace: 1 }), /slowed 2\.5 times/);
});

test("so close to other iron that no pull is known ahead is never calm, nor said to be far", () => {
  const near = moment({ lifts_in_m: null, beats_in_m: null, close_to: "nut" });
  assert.equal(snapsim.dangerOf(near, null), "blind");
  assert.equal(snapsim.dangerOf(near, { kind: "snaps" }), "goes");
  const { computed, methods } = snapsim.parts.SnapHandFigures;
  const words = computed.lifts.call({ m: near, ahead: methods.ahead });
  assert.equal(words, "not known so close to nut");
});

test("where no moment comes it says for how long, not the pace of earlier ones", () => {
  const { window, snapsim: own } = load("viewer.js", "parts.js", "rehearsing.js");
  const { data, methods } = own.parts.SnapRehearsal, piece = data();
  const news = { state: "running", moments: 7, moment: { held: true, time_s: 1, kept: 0.5, pace: 1 } };
  const at = (now, moments) => {
    window.now = now;
    methods.take.call(piece, { ...news, moments }, 30);
    return piece.speed;
  };
  assert.match(at(1000, 7), /^30 updates a second, slowed/);
  assert.match(at(2400, 7), /^30 updates/);
  assert.match(at(5200, 7), /^stands still since 4 s/);
  assert.match(at(5300, 8), /^30 updates/);
});
