import assert from "node:assert/strict";
import { test } from "node:test";

import { load } from "./scripts.js";

const { snapsim } = load("viewer.js", "playing.js", "parts.js");
const { said, ticks, thinned, grown, quantity } = snapsim;

test("a number has three figures and the unit that suits it", () => {
  const cases = [
    [12.345, "N", "12.3 N"], [0.012345, "N", "12.3 mN"], [1234.5, "N", "1.23 kN"],
    [0.25, "m", "250 mm"], [1.5, "m", "1500 mm"], [2.5, "m", "2.50 m"], [0.0004, "J", "400 µJ"], [-3.2, "N", "−3.20 N"],
    [3.456, "m/s", "3.46 m/s"], [0.0123, "kg", "12.3 g"],
  ];
  for (const [value, unit, expected] of cases) assert.equal(said(value, unit), expected);
});

test("nothing known is a dash, and zero has no sign", () => {
  for (const value of [null, undefined, NaN, Infinity]) assert.equal(said(value, "N"), "–");
  assert.equal(said(-1e-15, "N"), "0 N");
  assert.equal(said(0, "m/s", 2), "0.00 m/s");
  assert.ok(!quantity(-0.0001, "m/s").number.startsWith("−"));
});

test("ticks are round numbers in the range, evenly spaced", () => {
  for (const [low, high, about] of [[0, 1, 5], [-3.7, 12.2, 6], [0.99, 1.01, 4], [-1e-6, 1e-6, 4], [0, 0, 4], [3, 1000, 5]]) {
    const found = ticks(low, high, about);
    assert.ok(found.length >= 1 && found.length <= about + 2, `${low} ${high}`);
    const span = high - low || 1;
    for (const { value } of found) assert.ok(value >= low - 1e-8 * span && value <= high + 1e-8 * span);
    for (let k = 1; k < found.length; k++) assert.notEqual(found[k].text, found[k - 1].text);
  }
  assert.deepEqual([...ticks(0, 1, 5).map((t) => t.text)], ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
});

test("thinning keeps every column's peak, the order, and short lists as they are", () => {
  const x = Float64Array.from({ length: 10000 }, (_, k) => k / 1e4), y = x.map((v) => Math.sin(40 * v));
  y[4321] = 9;
  y[8765] = -7;
  const found = thinned(x, y, 100);
  assert.ok(found.length <= 200);
  assert.ok(found.some(([, v]) => v === 9) && found.some(([, v]) => v === -7));
  for (let k = 1; k < found.length; k++) assert.ok(found[k][0] >= found[k - 1][0]);
  assert.equal(thinned([1, 2, 3], [4, 5, 6], 100).length, 3);
});

test("an arrow of one weight has length one, and of none none", () => {
  assert.equal(grown(1), 1);
  assert.equal(grown(0), 0);
  assert.ok(grown(100) < 7);
});

test("no axis is left with one mark alone, whatever the range", () => {
  for (let k = 1; k < 400; k++) {
    const low = -Math.sin(k) * 7, high = low + Math.exp((k % 40) / 4 - 5);
    assert.ok(ticks(low, high, 3 + (k % 3)).length >= 3, `${low} to ${high}`);
  }
});

test("marks of an axis whose texts would run into each other are left out", () => {
  const { apart } = snapsim.parts.SnapCurve.mixins[0].methods;
  const marks = [0, 10, 20, 30].map((v) => ({ value: v, text: String(v) }));
  assert.equal(apart(marks, (v) => 3 * v).length, 4);
  assert.deepEqual(apart(marks, (v) => 1.2 * v).map((m) => m.value), [0, 20]);
});

test("texts of crests and hollows in one place stand one above the other", () => {
  const { stacked } = snapsim.parts.SnapCurve.methods;
  const mark = { x: 100, y: 50, crest: false, end: "middle", text: "hollow 10°" };
  const self = { f: { bottom: 100 } }, of = (marks) => stacked.call(self, marks).map((m) => m.level);
  assert.deepEqual(of([mark, { ...mark, x: 110 }, { ...mark, x: 300 }]), [71, 86, 71]);
  assert.deepEqual(of([{ ...mark, y: 95 }]), [84]); // not on the axis below
});

test("a length of nothing is told in millimetres", () => {
  assert.equal(said(0, "m"), "0 mm");
});

test("a gap below a tenth of a millimetre is told in micrometres, and one of nothing as 0 mm", () => {
  const cases = [[0, "0 mm"], [3e-7, "0 mm"], [2.34e-5, "23 µm"], [9.97e-5, "100 µm"], [1.2e-4, "0.1 mm"], [-2.5e-6, "−2.5 µm"]];
  for (const [value, expected] of cases) assert.equal(said(value, "m"), expected);
});

const ran = { loads: { table: { peak_force_N: 12, peak_time_s: 0.0123, last_force_N: 0 } }, twins: null, impacts: [], bodies: {}, energy: {} };

test("loads carry the marks of figures that do not repeat", () => {
  const marked = { "loads.table.peak_force_N": { says: "lost", figure: false }, "loads.table.last_force_N": { says: "0 ?", figure: true } };
  const [row] = snapsim.parts.SnapLoadTable.computed.loads.call({ record: { summary: ran, marked } });
  assert.deepEqual([row.name, ...row.cells], ["table", "lost", "0.0123 s", "–", "0 ? N", "–"]);
});

test("what warns of a run comes first, the rest in its order", () => {
  const notes = [{ says: "a", warns: false }, { says: "b", warns: true }, { says: "c", warns: false }];
  const found = snapsim.parts.SnapRunNotes.computed.notes.call({ record: { notes } });
  assert.deepEqual([...found.map((n) => n.says)], ["b", "a", "c"]);
});

test("the share of energy that is unaccounted for is read in per cent, however large or small", () => {
  const words = (part) => {
    const summary = { ...ran, outcome: "moving", simulated_s: 1, energy: { unaccounted_fraction: part } };
    return snapsim.parts.SnapRunTable.computed.rows.call({ runs: [{ name: "r", record: { summary } }], moving: [] }).at(-1).cells[0];
  };
  assert.deepEqual([0.46, 3.286e-4, 2e-10, null].map(words), ["46 %", "0.033 %", "less than 0.001 %", "not known"]);
});
