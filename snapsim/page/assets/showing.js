// What is drawn over the bodies: arrows with their labels, trails, outlines of the start and of
// another run. The page and the HTML of one run share it.
(() => {
  "use strict";
  const { said, grown } = window.snapsim;
  const { add, scale, length, unit, rotate } = window.snapsim.math;
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
      view.arrow(name, v ? { origin: at, vector: v, thick: 0.022 * view.size } : null, view.colours[name]);
      if (v) labels.push({ name, text, point: add(at, add(v, unit(v), 0.03 * view.size)) });
    };
    const on = layers.force && force;
    arrow("force", on ? force : null, on ? length(force) / weight : 0, on ? `pull ${said(length(force), "N")}` : "");
    const hand = acting && acting.hand;
    arrow("hand", hand || null, hand ? length(hand) / weight : 0, hand ? `hand ${said(length(hand), "N")}` : "");
    arrow("weight", on ? [0, 0, -1] : null, 1, on ? `weight ${said(weight, "N")}` : "");
    const turn = layers.torque && torque ? length(torque) / (weight * 0.5 * size) : 0;
    const angle = Math.min(0.5 * grown(turn) + 0.35, 5);
    view.arrow("torque", turn > 0.01
      ? { origin: at, axis: torque, angle, radius: 0.55 * size, thick: 0.016 * view.size } : null, view.colours.torque);
    return labels;
  }

  // The pull on each of the other parts, without labels: the chosen one has its own.
  function showPulls(view, part, cards) {
    for (const name of [...view.arrows.keys()]) if (name.startsWith("pull ")) view.arrow(name, null, "");
    for (const c of cards) {
      const pull = length(c.force), size = view.bodies[c.index].size;
      if (c.index === part || !(pull > 0.004 * c.weight_N)) continue;
      const at = view.poses[c.index].position, reach = (0.5 * size + 0.15 * view.size) * 0.55 * grown(pull / c.weight_N);
      view.arrow(`pull ${c.name}`, { origin: at, vector: kept(view, at, scale(unit(c.force), Math.min(reach, 1.6 * view.size))), thick: 0.016 * view.size }, view.colours.force);
    }
  }

  // Where fingers and hands could be, as boxes of edges; a point as a small one. Returns their labels.
  const LEAST_BOX = 0.006;
  function showHands(view, hands, words) {
    const path = hands.map((h) => {
      const corner = (...signs) => add(h.point, rotate(h.quaternion, signs.map((s, k) => s * Math.max(h.span[k], LEAST_BOX))));
      const round = (z) => [corner(-1, -1, z), corner(1, -1, z), corner(1, 1, z), corner(-1, 1, z), corner(-1, -1, z)];
      return [round(-1), round(1), ...[[-1, -1], [1, -1], [1, 1], [-1, 1]].map(([x, y]) => [corner(x, y, -1), corner(x, y, 1)])];
    }).flat();
    view.trail("hands", path.length ? path : null, view.colours.handplace, 2.4, 1, true);
    return hands.map((h) => ({ name: "handplace", text: words(h), point: h.point }));
  }

  // How far the stray field reaches, as three circles round the magnets; none without a radius.
  function showReach(view, centre, radius) {
    const turn = (k) => [Math.cos((Math.PI * k) / 48), Math.sin((Math.PI * k) / 48)];
    const circle = (place) => Array.from({ length: 97 }, (_, k) => add(centre, scale(place(...turn(k)), radius)));
    view.trail("reach", radius ? [circle((c, s) => [c, s, 0]), circle((c, s) => [c, 0, s]), circle((c, s) => [0, c, s])] : null, view.colours.reach, 2, 0.8, true);
    if (radius) view.camera.distance = Math.max(view.camera.distance, 5.2 * radius);
    view.refresh();
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
      node.style.borderLeftColor = view.colours[label.name] || "";
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
    view.ghost("other", theirs.index, theirs, view.colours.other, 0.95, other.scene.bodies[theirs.index].edges);
  }

  function showLayers(view, record, other, layers) {
    const start = poseAt(record, 0);
    view.ghost("start", start.index, layers.start ? start : null, view.colours.start);
    view.trail("trail", layers.trail ? [record.path()] : null, view.colours.trail, 3);
    view.trail("other", layers.trail && other ? [other.path()] : null, view.colours.other, 3);
  }

  // Field lines, paler where they are of another moment than the one that is shown.
  function showLines(view, lines, stale) {
    view.trail("lines", lines, view.colours.lines, 1.6, stale ? 0.25 : 0.8, true);
  }

  // The look of the page for the 3-D view, from its style sheet.
  function dress(view) {
    const style = getComputedStyle(document.documentElement);
    const of = (name) => style.getPropertyValue(name).trim();
    Object.assign(view.colours, { low: of("--backdrop-low"), high: of("--backdrop-high"), rim: of("--rim"), dim: Number(of("--dim")) });
    view.refresh();
  }

  Object.assign(window.snapsim, { LAYERS, showArrows, placeLabels, showRecord, showOther, showLayers, showLines, showPulls, showHands, showReach, dress });
})();
