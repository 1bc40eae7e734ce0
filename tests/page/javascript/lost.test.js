import assert from "node:assert/strict";
import { test } from "node:test";

import { load } from "./scripts.js";

const { snapsim } = load("viewer.js", "lost.js");

async function attempt(answers) {
  const waits = [], told = [];
  let loaded = 0;
  await snapsim.reconnect({
    ask: async () => {
      const status = answers.shift();
      if (!status) throw new Error("nobody there");
      return status;
    },
    wait: async (s) => { waits.push(s); },
    tell: (state) => told.push(state),
    again: () => { loaded += 1; },
    over: () => !answers.length && !loaded,
  });
  return { waits, told, loaded };
}

test("a server that answers again is loaded again, once", async () => {
  const { told, loaded } = await attempt([0, 0, 200, 200]);
  assert.equal(loaded, 1);
  assert.deepEqual(told, ["trying", "trying"]);
});

test("it waits longer and longer, and says when nobody has answered for a while", async () => {
  const { waits, told, loaded } = await attempt([0, 0, 0, 0, 0, 0, 0, 0, 0]);
  assert.equal(loaded, 0);
  assert.ok(waits.every((s, k) => k === 0 || s >= waits[k - 1]));
  assert.equal(told[0], "trying");
  assert.equal(told.at(-1), "silent");
});

test("a server with another token is not taken for the lost one", async () => {
  const { told, loaded } = await attempt([0, 403, 200]);
  assert.equal(loaded, 0);
  assert.equal(told.at(-1), "other");
});
