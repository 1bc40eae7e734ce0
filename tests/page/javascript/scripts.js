// The page's scripts as the browser loads them, in a context with only what they need of a window.
import { readFileSync } from "node:fs";
import { createContext, runInContext } from "node:vm";

const ASSETS = new URL("../../../snapsim/page/assets/", import.meta.url);

export const close = (found, expected, within) => {
  const a = [found].flat(), b = [expected].flat();
  return a.length === b.length && a.every((v, k) => Math.abs(v - b[k]) <= within);
};

// Return { snapsim, window, frames }: `frames` holds what waits for the screen's next frame.
export function load(...names) {
  const frames = [];
  const window = {
    atob, crypto, performance: { now: () => window.now, getEntriesByType: () => [] },
    now: 0, devicePixelRatio: 1, console,
    requestAnimationFrame: (step) => frames.push(step),
    sessionStorage: { getItem: () => null, setItem() {} },
    document: { getElementById: () => ({ innerHTML: "" }), addEventListener() {} },
    Vue: { markRaw: (x) => x },
  };
  window.window = window;
  createContext(window);
  for (const name of names) runInContext(readFileSync(new URL(name, ASSETS), "utf8"), window, name);
  return { snapsim: window.snapsim, window, frames };
}

export const packed = (array) => Buffer.from(array.buffer).toString("base64");
