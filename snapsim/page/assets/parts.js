// Pieces of the page that the HTML of one run has too: figures, plots, transport, run tables.
(() => {
  "use strict";

  // --- numbers as people read them ------------------------------------------------------------
  const PREFIXES = {
    N: [["kN", 1e-3], ["N", 1], ["mN", 1e3]],
    "N m": [["N m", 1], ["mN m", 1e3], ["µN m", 1e6]],
    J: [["J", 1], ["mJ", 1e3], ["µJ", 1e6]],
    m: [["m", 1], ["mm", 1e3]],
    "m/s": [["m/s", 1]], s: [["s", 1]], kg: [["kg", 1], ["g", 1e3]], "": [["", 1]],
  };
  // { number, unit } with three figures; lengths in mm but for metres of them.
  /**
   * @param {number | null | undefined} value
   * @param {string} unit
   * @param {number | null} [decimals]
   */
  function quantity(value, unit, decimals = null) {
    if (value === null || value === undefined || !isFinite(value)) return { number: "–", unit: "" };
    const choices = PREFIXES[unit], size = Math.abs(value);
    if (unit === "m" && decimals === null && size < 1e-4)
      return size < 5e-7 ? { number: "0", unit: "mm" } : { number: String(Number((1e6 * value).toPrecision(2))).replace("-", "−"), unit: "µm" };
    let chosen = choices[choices.length - 1];
    for (const choice of choices)
      if (Math.abs(value * choice[1]) >= (unit === "m" ? 2 : 1)) {
        chosen = choice;
        break;
      }
    if (Math.abs(value) < 1e-12 && unit !== "m") chosen = choices.find((c) => c[1] === 1);
    const v = value * chosen[1];
    const places = decimals !== null ? decimals
      : Math.max(0, Math.min(3, 2 - Math.floor(Math.log10(Math.max(Math.abs(v), 1e-3)))));
    if (Math.abs(value) < 1e-12 && decimals === null) return { number: "0", unit: chosen[0] };
    const text = v.toFixed(chosen[0] === "mm" ? Math.min(places, 1) : places);
    return { number: /^-0\.?0*$/.test(text) ? text.slice(1) : text.replace("-", "−"), unit: chosen[0] };
  }
  /** @type {Snapsim["said"]} */
  const said = (value, unit, decimals) => {
    const q = quantity(value, unit, decimals);
    return `${q.number} ${q.unit}`.trim();
  };

  /**
   * @param {number} low
   * @param {number} high
   * @param {number} about how many
   */
  function ticks(low, high, about) {
    const span = high - low || 1, raw = span / about, decade = 10 ** Math.floor(Math.log10(raw));
    const at = (step) => {
      const found = [];
      for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * span; k++) found.push(k * step);
      return found;
    };
    // the widest step from which three ticks can be read: one alone says no scale
    const steps = [10, 5, 2, 1, 0.5, 0.2, 0.1].map((m) => m * decade);
    const wanted = steps.filter((s) => s >= raw * (1 - 1e-9)).at(-1) ?? steps[0];
    const step = steps.filter((s) => s <= wanted).find((s) => at(s).length >= 3) ?? wanted;
    const found = at(step);
    const places = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    return found.map((v) => ({ value: v, text: v.toFixed(places).replace(/^-(0\.?0*)$/, "$1").replace("-", "−") }));
  }

  // Highest and lowest sample of each pixel column: peaks stay.
  /**
   * @param {ArrayLike<number>} x
   * @param {ArrayLike<number>} y
   * @param {number} columns
   */
  function thinned(x, y, columns) {
    if (x.length <= 4 * columns) return Array.from(x, (v, k) => [v, y[k]]);
    const first = x[0], span = x[x.length - 1] - first, out = [];
    let k = 0;
    for (let c = 0; c < columns; c++) {
      const end = first + (span * (c + 1)) / columns;
      /** @type {number[] | null} */
      let low = null;
      /** @type {number[] | null} */
      let high = null;
      for (; k < x.length && (x[k] <= end || c === columns - 1); k++) {
        if (!low || y[k] < low[1]) low = [x[k], y[k]];
        if (!high || y[k] > high[1]) high = [x[k], y[k]];
      }
      if (low && high) out.push(...[low, high].sort((a, b) => a[0] - b[0]));
    }
    return out;
  }

  // A plot area as wide as its element; `frame` maps data to pixels.
  /** @type {Component} */
  const Plot = {
    props: { height: { type: Number, default: 170 } },
    data: () => ({ width: 400 }),
    mounted() {
      this.watcher = new ResizeObserver(() => (this.width = Math.max(220, this.$el.clientWidth)));
      this.watcher.observe(this.$el);
    },
    beforeUnmount() {
      this.watcher.disconnect();
    },
    methods: {
      frame(xs, ys, left = 46) {
        const box = { left, right: this.width - 12, top: 30, bottom: this.height - 34 };
        const [x0, x1] = xs, [y0, y1] = ys;
        return {
          ...box,
          x: (v) => box.left + ((v - x0) / (x1 - x0 || 1)) * (box.right - box.left),
          y: (v) => box.bottom - ((v - y0) / (y1 - y0 || 1)) * (box.bottom - box.top),
          invert: (p) => x0 + ((p - box.left) / (box.right - box.left)) * (x1 - x0),
        };
      },
      // Marks of an axis whose texts (7.5 px a letter) have room beside each other.
      apart(marks, at) {
        let end = -Infinity;
        return marks.filter((m) => {
          const half = 3.75 * m.text.length;
          if (at(m.value) - half < end + 8) return false;
          end = at(m.value) + half;
          return true;
        });
      },
      path(points, f) {
        let text = "", pen = false;
        for (const [x, y] of points) {
          if (y === null || !isFinite(y)) {
            pen = false;
            continue;
          }
          text += `${pen ? "L" : "M"}${f.x(x).toFixed(1)} ${f.y(y).toFixed(1)}`;
          pen = true;
        }
        return text;
      },
    },
  };

  // Lines against time with the moment now: lines [{ name, colour, dash, x, y }].
  /** @type {Component} */
  const SnapChart = {
    mixins: [Plot],
    props: { lines: Array, now: Number, words: String, unit: String, marks: { type: Array, default: () => [] } },
    emits: ["seek"],
    computed: {
      f() {
        const end = Math.max(...this.lines.map((l) => l.x[l.x.length - 1]), 1e-9);
        let top = 1e-9;
        for (const l of this.lines) for (const v of l.y) if (v > top) top = v;
        return { ...this.frame([0, end], [0, 1.08 * top]), end, tall: 1.08 * top };
      },
      drawn() {
        return this.lines.map((l) => ({ ...l, d: this.path(thinned(l.x, l.y, Math.round(this.width)), this.f) }));
      },
      xTicks() { return this.apart(ticks(0, this.f.end, Math.max(3, this.width / 110)), this.f.x); },
      yTicks() { return ticks(0, this.f.tall, 4); },
    },
    methods: {
      seek(event) {
        if (!event.buttons) return;
        const box = this.$el.getBoundingClientRect();
        const t = this.f.invert(((event.clientX - box.left) / box.width) * this.width);
        this.$emit("seek", Math.min(Math.max(t, 0), this.f.end));
      },
    },
    template: `<svg class="plot" :viewBox="'0 0 ' + width + ' ' + height" :height="height" role="img"
      :aria-label="words" @pointerdown="seek" @pointermove="seek">
      <g v-for="t in yTicks" :key="'y' + t.value"><line class="rule" :x1="f.left" :x2="f.right" :y1="f.y(t.value)" :y2="f.y(t.value)"/>
        <text class="tick" :x="f.left - 7" :y="f.y(t.value) + 4" text-anchor="end">{{ t.text }}</text></g>
      <g v-for="t in xTicks" :key="'x' + t.value"><text class="tick" :x="f.x(t.value)" :y="f.bottom + 16" text-anchor="middle">{{ t.text }}</text></g>
      <text class="axis" :x="f.right" :y="height - 3" text-anchor="end">time [s]</text>
      <text class="axis" :x="2" :y="14">{{ words }} [{{ unit }}]</text>
      <line v-for="m in marks" class="blow" :x1="f.x(m)" :x2="f.x(m)" :y1="f.top" :y2="f.bottom"/>
      <path v-for="l in drawn" :key="l.name" :d="l.d" fill="none" :stroke="l.colour" stroke-width="2.2" :stroke-dasharray="l.dash || null"/>
      <line class="now" :x1="f.x(now)" :x2="f.x(now)" :y1="f.top" :y2="f.bottom"/>
    </svg>`,
  };

  // Energy against tilt or way: now, crests (points of no return), hollows, where it snaps beyond.
  // A hollow inside a band from where it snaps is none of the part's rests: only this one motion's.
  /** @type {Component} */
  const SnapCurve = {
    mixins: [Plot],
    props: { curve: Object, snaps: { type: Array, default: () => [] }, stale: Boolean },
    methods: {
      // Texts one above the other where they would collide.
      stacked(marks) {
        const placed = [];
        return marks.map((m) => {
          const wide = 7.8 * m.text.length, left = m.x - { start: 0, middle: 0.5, end: 1 }[m.end] * wide;
          const above = m.crest || m.y + 21 > this.f.bottom - 2;
          let level = above ? m.y - 11 : m.y + 21;
          while (placed.some((p) => p.left < left + wide && left < p.left + p.wide && Math.abs(p.level - level) < 15)) level += above ? -15 : 15;
          placed.push({ left, wide, level });
          return { ...m, level };
        });
      },
    },
    computed: {
      scale() {
        const top = Math.max(...this.curve.energy_J.filter((v) => v !== null).map(Math.abs));
        return top >= 0.5 ? ["J", 1] : top >= 5e-4 ? ["mJ", 1e3] : ["µJ", 1e6];
      },
      f() {
        const y = this.curve.energy_J.filter((v) => v !== null).map((v) => v * this.scale[1]);
        const low = Math.min(...y), high = Math.max(...y), room = 0.2 * (high - low || 1);
        const x = this.curve.at;
        return { ...this.frame([x[0], x[x.length - 1]], [low - room, high + room]), low: low - room, high: high + room };
      },
      d() { return this.path(this.curve.at.map((x, k) => [x, this.curve.energy_J[k] === null ? null : this.curve.energy_J[k] * this.scale[1]]), this.f); },
      xTicks() { const x = this.curve.at; return this.apart(ticks(x[0], x[x.length - 1], Math.max(3, this.width / 80)), this.f.x); },
      yTicks() { return ticks(this.f.low, this.f.high, 4); },
      marks() {
        return this.stacked(this.curve.extremes.map((e) => {
          const x = this.f.x(e.at), y = this.f.y(e.energy_J * this.scale[1]);
          const end = x > this.f.right - 60 ? "end" : x < this.f.left + 60 ? "start" : "middle";
          const caught = this.snaps.some((s) => Math.min(s.from, s.to) <= e.at && e.at <= Math.max(s.from, s.to));
          const called = e.crest ? "crest" : caught ? "hollow, no rest" : "hollow";
          return { x, y, crest: e.crest, caught, end, text: `${called} ${e.at.toFixed(0).replace("-", "−")}${this.mark}`,
            d: e.crest ? `M${x - 6} ${y + 5}L${x + 6} ${y + 5}L${x} ${y - 6}Z` : `M${x - 6} ${y - 5}L${x + 6} ${y - 5}L${x} ${y + 6}Z` };
        }));
      },
      bands() {
        const x = this.curve.at, within = (v) => this.f.x(Math.min(Math.max(v, x[0]), x[x.length - 1]));
        return this.snaps.map((s) => ({ ...s, a: within(s.from), b: within(s.to), x: within(s.at) }));
      },
      mark() { return this.curve.unit === "deg" ? "°" : ` ${this.curve.unit}`; },
      moved() { return this.curve.along === "tilt" ? "turned" : "moved"; },
      words() {
        const e = this.curve.extremes.map((m) => `${m.crest ? "crest" : "hollow"} at ${m.at.toFixed(0)} ${this.curve.unit}`);
        return `Energy with weight, ${this.moved} from here: ${e.join(", ") || "no crest or hollow on the way"}${this.stale ? ". For an earlier pose" : ""}`;
      },
    },
    template: `<svg class="plot" :class="{ stale }" :viewBox="'0 0 ' + width + ' ' + height" :height="height" role="img" :aria-label="words">
      <g v-for="t in yTicks" :key="'y' + t.value"><line class="rule" :x1="f.left" :x2="f.right" :y1="f.y(t.value)" :y2="f.y(t.value)"/>
        <text class="tick" :x="f.left - 7" :y="f.y(t.value) + 4" text-anchor="end">{{ t.text }}</text></g>
      <g v-for="t in xTicks" :key="'x' + t.value"><text class="tick" :x="f.x(t.value)" :y="f.bottom + 16" text-anchor="middle">{{ t.text }}</text></g>
      <text class="axis" :x="f.right" :y="height - 3" text-anchor="end">{{ moved }} from here [{{ curve.unit }}]</text>
      <text class="axis" :x="2" :y="14">energy with weight, above that here [{{ scale[0] }}]</text>
      <g v-for="b in bands" :key="b.at"><rect class="beyond" :x="Math.min(b.a, b.b)" :width="Math.max(3, Math.abs(b.b - b.a))" :y="f.top" :height="f.bottom - f.top"/>
        <line v-if="b.known" class="critical" :x1="b.x" :x2="b.x" :y1="f.top" :y2="f.bottom"/></g>
      <path :d="d" class="energy" fill="none"/>
      <line class="now" :x1="f.x(0)" :x2="f.x(0)" :y1="f.top" :y2="f.bottom"/>
      <g v-for="m in marks" :key="m.text"><path :d="m.d" :class="m.crest ? 'crest' : m.caught ? 'hollow caught' : 'hollow'"/>
        <text class="mark" :x="m.x" :y="m.level" :text-anchor="m.end">{{ m.text }}</text></g>
      <circle class="here" :cx="f.x(0)" :cy="f.y(curve.now_J * scale[1])" r="6"/>
    </svg>`,
  };

  // A run's speed, energy, gap or pull against time, and another run's over it.
  const CHARTS = {
    speed: ["speed", "m/s", 1], kinetic: ["kinetic energy", "J", 1], gap: ["gap to magnet", "mm", 1e3], pull: ["pull", "N", 1],
  };
  /** @type {Component} */
  const SnapRunPlot = {
    components: { SnapChart },
    props: { record: Object, other: Object, time: Number, height: { type: Number, default: 150 } },
    emits: ["seek"],
    data: () => ({ charts: CHARTS, what: "speed" }),
    computed: {
      lines() {
        const of = (record, more) => ({ ...more, x: record.time, y: this.values(record) });
        const lines = [of(this.record, { name: "shown", colour: "var(--series-1)" })];
        if (this.other) lines.push(of(this.other, { name: "compared", colour: "var(--series-3)", dash: "7 4" }));
        return lines;
      },
      marks() { return this.record.blow ? [this.record.blow.time] : []; },
    },
    methods: {
      values(record) {
        if (this.what === "pull") return record.pull();
        const factor = CHARTS[this.what][2];
        return factor === 1 ? record[this.what] : record[this.what].map((v) => factor * v);
      },
    },
    template: `<div class="runplot"><div class="choice" role="group" aria-label="plotted against time">
        <button type="button" v-for="(c, name) in charts" :key="name" :aria-pressed="what === name" @click="what = name">{{ c[0] }}</button></div>
      <snap-chart :lines="lines" :now="time" :marks="marks" :words="charts[what][0]" :unit="charts[what][1]" :height="height" @seek="(t) => $emit('seek', t)"></snap-chart></div>`,
  };

  /** @type {Component} */
  const SnapFigure = {
    props: { words: String, value: Number, unit: String, note: String, decimals: { type: Number, default: null } },
    computed: { q() { return quantity(this.value, this.unit, this.decimals); } },
    template: `<div class="figure"><div class="name">{{ words }}</div>
      <div class="number"><b>{{ q.number }}</b> <span>{{ q.unit }}</span></div>
      <div v-if="note" class="note">{{ note }}</div></div>`,
  };

  // A field that follows its value, but never takes away what is being typed in it.
  /** @type {Component} */
  const SnapField = {
    props: { value: String },
    emits: ["enter"],
    data() { return { text: this.value, typing: false }; },
    watch: { value(to) { if (!this.typing) this.text = to; } },
    methods: {
      entered() {
        this.typing = false;
        this.$emit("enter", this.text);
      },
      back() {
        this.typing = false;
        this.text = this.value;
      },
    },
    template: `<input type="text" v-model="text" spellcheck="false" autocomplete="off" @input="typing = true" @change="entered" @keydown.escape="back">`,
  };

  const PACES = [
    { text: "real time", value: 1 }, { text: "5 × slower", value: 0.2 },
    { text: "20 × slower", value: 0.05 }, { text: "100 × slower", value: 0.01 },
    { text: "500 × slower", value: 0.002 },
  ];

  // Play, scrub, pace. `time` [s] of `end` [s].
  /** @type {Component} */
  const SnapTransport = {
    props: { time: Number, end: Number, playing: Boolean, pace: Number },
    emits: ["toggle", "seek", "pace"],
    data: () => ({ paces: PACES }),
    computed: { said() { return `${this.time.toFixed(4)} s of ${this.end.toFixed(3)} s`; } },
    template: `<div class="transport">
      <button type="button" class="round" @click="$emit('toggle')" :aria-label="playing ? 'pause' : 'play'" :title="(playing ? 'pause' : 'play') + ' (space)'">
        <svg viewBox="0 0 20 20" width="20" height="20" aria-hidden="true"><path :d="playing ? 'M5 3h4v14H5zM11 3h4v14h-4z' : 'M5 2.5v15L17 10z'" fill="currentColor"/></svg></button>
      <input class="scrub" type="range" min="0" :max="end" step="any" :value="time" aria-label="time in the run" :aria-valuetext="said"
        @input="$emit('seek', Number($event.target.value))">
      <output class="clock">{{ said }}</output>
      <select :value="pace" @change="$emit('pace', Number($event.target.value))" aria-label="pace">
        <option v-for="p in paces" :key="p.value" :value="p.value">{{ p.text }}</option></select>
    </div>`,
  };

  /**
   * How a part ends, with the share of runs that ended so where they differ.
   * @param {any} summary
   * @param {string} name
   */
  const ends = (summary, name) => {
    const found = ((summary.twins || {}).ends || {})[name];
    if (!found || !found.length) return "not checked";
    if (found.length === 1) return found[0].words;
    return found.map((e) => `${e.words} in ${e.runs} of ${e.of}`).join("; ");
  };

  // A figure that a twin does not repeat, as the server marks it: lost, a or b, with ?; else `plain`.
  const marks = (record, key, unit, plain) => {
    const mark = (record.marked || {})[key];
    return mark === undefined ? plain : mark.figure ? `${mark.says} ${unit}` : mark.says;
  };

  // A share in per cent, as people read it.
  const share = (part) => {
    if (part === null || part === undefined) return "not known";
    const value = 100 * part;
    return value < 0.001 ? "less than 0.001 %" : `${Number(value.toPrecision(2))} %`;
  };

  // What a run came to, one column a run.
  /** @type {Component} */
  const SnapRunTable = {
    props: { runs: Array },
    computed: {
      moving() { return [...new Set(this.runs.flatMap((r) => r.record.bodies.map((b) => b.name)))]; },
      rows() {
        const of = (words, value) => ({ words, cells: this.runs.map((r) => value(r.record.summary, r.record)) });
        const first = (s) => s.impacts[0] || null;
        return [
          of("ends", (s) => (s.outcome === "untrusted" ? `UNTRUSTED: ${s.reason}` : s.outcome)),
          of("simulated", (s) => said(s.simulated_s, "s")),
          of("repeats in a run begun a millionth otherwise", (s) => {
            if (!s.twins || !s.twins.compared) return "not checked";
            return s.twins.apart_s === null ? "to the end" : `until ${said(s.twins.apart_s, "s")}, then one of several courses`;
          }),
          of("first blow", (s) => (first(s) ? `${first(s).body} on ${first(s).against}` : "none")),
          of("at", (s, r) => (first(s) ? marks(r, "first_blow.time_s", "s", said(first(s).time_s, "s", 4)) : "–")),
          of("its closing speed where they meet", (s, r) => (first(s) ? marks(r, "first_blow.closing_speed_m_s", "m/s", said(first(s).closing_speed_m_s, "m/s")) : "–")),
          of("its energy of the whole part", (s, r) => marks(r, "first_blow.kinetic_energy_J", "J", said(first(s) ? first(s).kinetic_energy_J : NaN, "J"))),
          of("of that at the point that strikes", (s, r) => marks(r, "first_blow.effective_energy_J", "J", said(first(s) ? first(s).effective_energy_J : NaN, "J"))),
          of("most of any blow at the point that strikes", (s, r) => marks(r, "hardest_blow.effective_energy_J", "J", said(s.impacts.length ? Math.max(...s.impacts.map((i) => i.effective_energy_J)) : NaN, "J"))),
          ...this.moving.flatMap((name) => [
            of(`top speed of ${name}`, (s, r) => (s.bodies[name] ? marks(r, `bodies.${name}.max_speed_m_s`, "m/s", said(s.bodies[name].max_speed_m_s, "m/s")) : "–")),
            of(`most kinetic energy of ${name}`, (s, r) => (s.bodies[name] ? marks(r, `bodies.${name}.max_kinetic_energy_J`, "J", said(s.bodies[name].max_kinetic_energy_J, "J")) : "–")),
            of(`how ${name} ends`, (s) => ends(s, name)),
          ]),
          of("energy unaccounted for", (s) => share(s.energy.unaccounted_fraction)),
        ];
      },
    },
    template: `<table class="runs"><thead><tr><th scope="col">figure</th><th v-for="r in runs" :key="r.name" scope="col">{{ r.name }}</th></tr></thead>
      <tbody><tr v-for="row in rows" :key="row.words"><th scope="row">{{ row.words }}</th><td v-for="(c, k) in row.cells" :key="k">{{ c }}</td></tr></tbody></table>`,
  };

  // Every blow of a run: the energy of the whole part, and how much of it is behind the point that
  // strikes (the rest goes on turning and moving it), which is what limits are made for.
  const MOST_BLOWS = 12;
  /** @type {Component} */
  const SnapBlowTable = {
    props: { record: Object },
    emits: ["seek"],
    data: () => ({ all: false }),
    computed: {
      // blows that a run begun a millionth otherwise has alike come first
      alike() { const t = this.record.summary.twins; return t && t.compared ? t.blows_alike : Infinity; },
      blows() { return this.record.summary.impacts.map((b, k) => ({ ...b, mark: k < this.alike ? "" : " ?" })); },
      shown() {
        const hard = [...this.blows].sort((a, b) => b.effective_energy_J - a.effective_energy_J);
        return this.all ? this.blows : hard.slice(0, MOST_BLOWS).sort((a, b) => a.time_s - b.time_s);
      },
    },
    methods: {
      said,
      force(blow) {
        const [low, high] = blow.peak_force_N;
        if (high === null) return "–";
        return `${low === null ? "up to " : `${said(low, "N")} to `}${said(high, "N")}`;
      },
    },
    template: `<table class="runs blows"><thead><tr><th scope="col">at</th><th scope="col">what strikes</th><th scope="col">closing</th><th scope="col">energy of the part</th><th scope="col">of it at the point that strikes</th><th scope="col">peak force</th></tr></thead>
      <tbody><tr v-for="(b, k) in shown" :key="k"><td><button type="button" class="link" @click="$emit('seek', b.time_s)">{{ said(b.time_s, "s", 4) }}</button></td>
        <td>{{ b.body }} {{ b.jammed ? "jams on" : "on" }} {{ b.against }}</td><td>{{ said(b.closing_speed_m_s, "m/s") + b.mark }}</td><td>{{ said(b.kinetic_energy_J, "J") + b.mark }}</td><td>{{ said(b.effective_energy_J, "J") + b.mark }}</td><td>{{ force(b) + b.mark }}</td></tr>
        <tr v-if="!blows.length"><td colspan="6">nothing was struck</td></tr>
        <tr v-if="blows.length > alike"><td colspan="6">?: a run begun a millionth otherwise had other blows by then; these are of one of several courses</td></tr></tbody>
      <tfoot v-if="blows.length > shown.length"><tr><td colspan="6"><button type="button" @click="all = true">all {{ blows.length }} blows</button></td></tr></tfoot></table>`,
  };

  // What joints and fixed bodies bear, blows and their own weight left out.
  /** @type {Component} */
  const SnapLoadTable = {
    props: { record: Object },
    computed: {
      loads() {
        return Object.entries(this.record.summary.loads).map(([name, load]) => {
          const of = (key, unit) => marks(this.record, `loads.${name}.${key}`, unit, said(load[key], unit));
          return { name, cells: [of("peak_force_N", "N"), marks(this.record, `loads.${name}.peak_time_s`, "s", said(load.peak_time_s, "s", 4)),
            of("peak_torque_Nm", "N m"), of("last_force_N", "N"), of("last_torque_Nm", "N m")] };
        });
      },
    },
    template: `<table class="runs blows"><thead><tr><th scope="col">held by</th><th scope="col">peak force</th><th scope="col">at</th><th scope="col">peak torque</th><th scope="col">force at end</th><th scope="col">torque at end</th></tr></thead>
      <tbody><tr v-for="l in loads" :key="l.name"><th scope="row">{{ l.name }}</th><td v-for="(c, k) in l.cells" :key="k">{{ c }}</td></tr></tbody></table>`,
  };

  // How far a run is to be trusted: what warns first, then its energy audit and the rest.
  /** @type {Component} */
  const SnapRunNotes = {
    props: { record: Object },
    computed: { notes() { return [...(this.record.notes || [])].sort((a, b) => Number(b.warns) - Number(a.warns)); } },
    template: `<ul class="plain notes"><li v-for="(n, k) in notes" :key="k" :class="{ warns: n.warns }">{{ n.says }}</li></ul>`,
  };

  // Arrow lengths grow with the logarithm of force over weight, so that 1 and 100 weights both show.
  /** @type {Snapsim["grown"]} */
  const grown = (ratio) => Math.asinh(ratio) / Math.asinh(1);

  Object.assign(window.snapsim, {
    quantity, said, ticks, thinned, grown, PACES,
    parts: { SnapField, SnapRunPlot, SnapCurve, SnapFigure, SnapTransport, SnapRunTable, SnapBlowTable, SnapLoadTable, SnapRunNotes },
  });
})();
