// What is drawn over the bodies: arrows with their labels, trails, outlines of the start and of
// another run. The page and the HTML of one run share it.
(() => {
  "use strict";
  const { said, grown } = window.snapsim;
  const { add, scale, length, unit } = window.snapsim.math;
  const COLOURS = { force: "#FFB454", weight: "#9FB4BF", torque: "#8CD3F2", trail: "#FFB454", other: "#7FD8C4", start: "#9FB4BF", lines: "#9FC7E8" };
  const LAYERS = { force: true, torque: true, trail: true, start: true, lines: false };

  // Arrows of magnetic force and torque, and weight, on a body; returns the labels they need.
  // Lengths grow with the logarithm of force over weight: a hundredfold pull still fits the stage.
  function showArrows(view, part, acting, layers) {
    const { force, torque, weight } = acting || {};
    const at = view.poses[part].position, size = view.bodies[part].size, labels = [];
    const reach = 0.5 * size + 0.15 * view.size;
    const arrow = (name, vector, ratio, text) => {
      const strong = vector && length(vector) > 1e-9 && ratio > 0.004;
      const v = strong ? kept(view, at, scale(unit(vector), Math.min(reach * 0.55 * grown(ratio), 1.6 * view.size))) : null;
      view.arrow(name, v ? { origin: at, vector: v, thick: 0.022 * view.size } : null, COLOURS[name]);
      if (v) labels.push({ name, text, point: add(at, add(v, unit(v), 0.03 * view.size)) });
    };
    const on = layers.force && force;
    arrow("force", on ? force : null, on ? length(force) / weight : 0, on ? `pull ${said(length(force), "N")}` : "");
    arrow("weight", on ? [0, 0, -1] : null, 1, on ? `weight ${said(weight, "N")}` : "");
    const turn = layers.torque && torque ? length(torque) / (weight * 0.5 * size) : 0;
    const angle = Math.min(0.5 * grown(turn) + 0.35, 5);
    view.arrow("torque", turn > 0.01
      ? { origin: at, axis: torque, angle, radius: 0.55 * size, thick: 0.016 * view.size } : null, COLOURS.torque);
    return labels;
  }

  // An arrow cut to what the picture shows of it, with room for its label.
  const ROOM = 46;
  function kept(view, at, vector) {
    const w = view.canvas.clientWidth, h = view.canvas.clientHeight;
    const inside = ([x, y]) => x > ROOM && x < w - ROOM && y > ROOM && y < h - ROOM;
    if (!w || !inside(view.project(at))) return vector;
    let v = vector;
    for (let k = 0; k < 12 && !inside(view.project(add(at, v))); k++) v = scale(v, 0.85);
    return v;
  }

  // Bring labels, children of `box` in their order, to where their points are seen.
  function placeLabels(view, labels, box) {
    const w = view.canvas.clientWidth, h = view.canvas.clientHeight;
    labels.forEach((label, k) => {
      const node = box.children[k];
      if (!node) return;
      const [x, y] = view.project(label.point);
      const to = [Math.min(Math.max(x, 64), w - 64), Math.min(Math.max(y, 70), h - 22)];
      node.style.transform = `translate(${to[0]}px, ${to[1]}px) translate(-50%, -50%)`;
    });
  }

  const poseAt = (record, time) => record.poses(time).find((p) => p.index === record.part);

  function showRecord(view, record, time) {
    view.parted = new Set(Object.keys(record.parted).filter((name) => record.parted[name] <= time));
    for (const p of record.poses(time)) view.move(p.index, p.position, p.quaternion);
  }

  function showOther(view, other, time) {
    if (!other) {
      view.ghost("other", 0, null);
      return;
    }
    const theirs = poseAt(other, time);
    view.ghost("other", theirs.index, theirs, COLOURS.other, 0.95, other.scene.bodies[theirs.index].edges);
  }

  function showLayers(view, record, other, layers) {
    const start = poseAt(record, 0);
    view.ghost("start", start.index, layers.start ? start : null, COLOURS.start);
    view.trail("trail", layers.trail ? [record.path()] : null, COLOURS.trail, 3);
    view.trail("other", layers.trail && other ? [other.path()] : null, COLOURS.other, 3);
  }

  // Field lines, paler where they are of another moment than the one that is shown.
  function showLines(view, lines, stale) {
    view.trail("lines", lines, COLOURS.lines, 1.6, stale ? 0.25 : 0.8, true);
  }

  // The look of the page for the 3-D view, from its style sheet.
  function dress(view) {
    const style = getComputedStyle(document.documentElement);
    const of = (name) => style.getPropertyValue(name).trim();
    Object.assign(view.colours, { low: of("--backdrop-low"), high: of("--backdrop-high"), rim: of("--rim"), dim: Number(of("--dim")) });
    view.refresh();
  }

  Object.assign(window.snapsim, { LAYERS, showArrows, placeLabels, showRecord, showOther, showLayers, showLines, dress });
})();
