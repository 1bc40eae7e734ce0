// The page: one Vue component on trame's connection. Each tab has a scene of its own on the server.
(() => {
  "use strict";
  const { StageView, Hands, Recording, Clock, quantity, said, LAYERS } = window.snapsim;
  const { add, length, multiply, about, normalised } = window.snapsim.math;
  const { Warner, Counter, dangerOf, DANGERS, showSteps, SHOW_KEYS } = window.snapsim;
  const { showArrows, placeLabels, showRecord, showOther, showLayers, showLines, showPulls, showHands, showReach, dress } = window.snapsim;
  const POLL = 150, QUIET = 450, KEPT = "snapsim-unsaved";

  // A name for this tab that a reload keeps; a tab opened as a copy of another gets its own.
  function tabName() {
    const fresh = () => Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
    /** @type {any} */
    const entry = performance.getEntriesByType("navigation")[0];
    const again = (entry || {}).type;
    let name = sessionStorage.getItem("snapsim-tab");
    if (!name || (again !== "reload" && again !== "back_forward")) name = fresh();
    sessionStorage.setItem("snapsim-tab", name);
    return name;
  }

  const KEYS = [
    ["← →", "move the part along x"], ["↑ ↓", "move it up and down (z)"], ["Page Up / Page Down", "move it along y"],
    ["A D", "tilt about y"], ["W S", "tilt about x"], ["Q E", "tilt about z"], ["Shift with these", "ten times as far"],
    ["− +", "step finer, coarser"], ["G", "set the part down"], ["B", "lay it flat on the nearest face of another"], ["M", "bring it before the pole's middle"], ["O", "draw sizes: Tab goes from grip to grip, arrows change them"], ["Home", "back to where the scene has it"],
    ["R", "release; in a rehearsal let go, grip again"], ["H", "rehearse"], ["V", "show the run; Page Down and Page Up go through it"], ["Ctrl Z / Ctrl Shift Z", "undo, redo"], ["Escape", "cancel the release, or back to placing"], ["Space", "play, pause"],
    [", .", "scrub back, forward"], ["J L I K", "look from the left, right, above, below"], ["Z X", "nearer, farther"],
    ["F", "whole stage in view"], ["1 2 3 4 5", "layers: force, torque, trail, start, field lines"], ["6", "how far the stray field reaches"], ["T", "two runs side by side"], ["P", "save the picture"], ["?", "these keys"],
  ];
  const MOVES = {
    ArrowLeft: [-1, 0, 0], ArrowRight: [1, 0, 0], ArrowUp: [0, 0, 1], ArrowDown: [0, 0, -1],
    PageUp: [0, 1, 0], PageDown: [0, -1, 0],
  };
  const TILTS = { a: [0, -1, 0], d: [0, 1, 0], w: [-1, 0, 0], s: [1, 0, 0], q: [0, 0, 1], e: [0, 0, -1] };
  const LOOKS = { j: [20, 0], l: [-20, 0], i: [0, 16], k: [0, -16] };
  const STEPS = [0.1, 0.5, 1, 5];

  /** @type {Component} */
  const SnapPage = {
    components: window.snapsim.parts,
    mixins: [window.snapsim.sizing, window.snapsim.dropping, window.snapsim.abreast],
    data: () => ({
      ready: false, fault: "", title: "", note: "", file: "", starter: false, cautions: [],
      part: -1, parts: [], partName: "", jointed: false, groups: [], changed: [], examples: [], kinds: [], shapes: [], bodies: [], fastened: [], adding: "part", beginning: "", brakes: [],
      toml: "", typedToml: null, kept: null, complaints: {},
      pose: null, figures: null, tool: "move", axis: "", step: 1, holding: false,
      jobs: [], runs: [], records: {}, shown: null, compare: null, followed: "", mode: "place",
      byPart: null, byPartFor: "", reach: false, verdict: null, verdictFor: "", curve: null, curveFor: "", margin: null, marginFor: "", time: 0, playing: false, pace: 0.05,
      layers: { ...LAYERS }, tab: "place", keys: false,
      study: "rests", first: "", second: "", studyText: "", studies: [], showStep: -1, danger: "calm", letGo: null, handLimit: "60 N", tone: true,
      spoken: "", labels: [], linesFor: "", lines: null, gap: null, helpKeys: KEYS, clipSize: "1280x720",
    }),
    computed: {
      releasing() { return this.jobs.find((j) => j.kind === "release" && ["waiting", "running"].includes(j.state)); },
      drawing() { return this.jobs.find((j) => j.kind === "clip" && ["waiting", "running"].includes(j.state)); },
      studying() { return this.jobs.filter((j) => j.kind === "study" && ["waiting", "running"].includes(j.state)); },
      drafting() { return this.jobs.find((j) => j.kind === "draft" && ["waiting", "running"].includes(j.state)); },
      // What stands on top: of the run that is shown, else of a draft release of the scene as it is.
      answer() {
        if (this.mode === "rehearse") return this.ofRehearsal();
        if (this.mode === "play" && this.record) return this.ofRun(this.record);
        const stale = this.verdictFor !== this.poseKey, v = this.verdict;
        if (this.trouble) return { kind: "unknown", says: this.trouble, more: [], limits: [], mark: "", stale: false };
        if (this.complaints.draft && !this.drafting) return { kind: "unknown", says: `No verdict: ${this.complaints.draft}`, more: [], limits: [], mark: "", stale: false };
        if (!v || (stale && v.kind !== "snaps" && v.kind !== "may_snap")) return { kind: "unknown", says: "What happens if it is let go now is being looked at …", more: [], limits: [], mark: "draft", stale: true };
        const low = v.pull_low_by ? `draft · pull may be up to ${Math.ceil(100 * v.pull_low_by - 1e-9)} % stronger` : "draft";
        return { ...v, mark: stale ? "of an earlier state" : low, stale };
      },
      looking() { return this.jobs.find((j) => ["curve", "margin"].includes(j.kind) && j.state === "running"); },
      record() { return this.shown === null ? null : this.records[this.shown] || null; },
      other() { return this.compare === null ? null : this.records[this.compare] || null; },
      poseKey() { return JSON.stringify(this.pose && [this.partName, this.pose.revision]); },
      dangerWords() { return DANGERS[this.danger]; },
      pull() { return this.figures && this.figures.force_N ? length(this.figures.force_N) : NaN; },
      weights() {
        if (!this.figures || !this.figures.force_N) return "";
        return `${quantity(this.pull / this.figures.weight_N, "").number} × its weight${this.reads}`;
      },
      // By how much the pull may be too small by its cells: at once what is expected of them, then of two meshes.
      reads() {
        const card = this.byPart && this.byPartFor === this.poseKey && this.byPart.cards.find((c) => c.name === this.partName);
        const low = card ? card.low_by : this.figures.force_low_by_up_to, near = this.figures.close_to;
        if (low === null && near) return card ? `, off by an amount not known beside ${near}` : `, off by an amount that is being looked at: ${near} is close`;
        if (!low) return "";
        return low > 1 ? `, but may be ${(1 + low).toPrecision(2)} times as strong` : `, reads low by up to ${Math.max(1, Math.ceil(100 * low - 1e-6))} %`;
      },
      torque() { return this.figures && this.figures.torque_Nm ? length(this.figures.torque_Nm) : NaN; },
      trouble() {
        const o = this.figures && this.figures.overlap;
        return o ? `${o.of} is ${said(o.depth_m, "m")} inside ${o.with}: nothing can be computed there` : "";
      },
      now() {
        if (this.mode === "play" && this.record) return { ...this.record.figures(this.time), of: this.followed };
        return null;
      },
      announced() { return this.record && this.record.blow && this.time >= this.record.blow.time ? this.record.blow.words + (this.record.warning ? " (untrusted run)" : "") : ""; },
      steps() { return this.record ? showSteps(this.record, this.note || this.title) : []; },
      // Two keys to map fates over, until others are written: the part's height and its tilt.
      spans() {
        if (!this.pose) return ["", ""];
        const name = /^[\w-]+$/.test(this.partName) ? this.partName : `"${this.partName}"`, [x, , z] = this.pose.typed_mm;
        return [`body.${name}.position.x=${x - 20}..${x + 20} mm`, `body.${name}.position.z=${z}..${z + 40} mm`].map((t) => t.replace(/(\.\d{3})\d+/g, "$1"));
      },
      tabled() {
        const of = (n) => ({ name: this.runs.find((r) => r.number === n).name, record: this.records[n] });
        return [this.shown, this.compare].filter((n) => n !== null && this.records[n]).map(of);
      },
      // Where on the curve a part let go at rest snaps: from `from` to `to`, known to `error`, in
      // the curve's unit. The error bar is taken off the part that does not snap.
      snaps() {
        if (!this.margin || !this.curve) return [];
        const now = this.margin.present.fate === "snaps", c = this.curve.axis, found = [];
        const tilt = this.curve.along === "tilt", unit = tilt ? "deg" : "m", scale = tilt ? 1 : 1e3;
        for (const way of this.margin.ways) {
          if (way.kind !== this.curve.along) continue;
          const axis = tilt ? way.axis : way.direction;
          const along = axis[0] * c[0] + axis[1] * c[1] + axis[2] * c[2];
          const name = now ? "safe_from" : "snaps_beyond", released = way.decided_by_code === "release";
          const at = released ? way[`${now ? "no_snap_from" : "may_snap_from"}_${unit}`] : way[`${name}_${unit}`];
          const error = released ? 0 : scale * way[`${name}_error_${unit}`];
          if (Math.abs(along) < 0.9 || (!now && typeof at !== "number")) continue;
          const known = typeof at === "number", sign = Math.sign(along), edge = known ? sign * scale * at : sign * 400;
          const first = known ? edge - sign * (now ? -error : error) : edge;
          found.push({ at: edge, from: now ? 0 : first, to: now ? first : sign * 1e4, error, known, now });
        }
        return found;
      },
      moved() { return Boolean(this.pose && this.mode === "place" && this.pose.moved); },
      // The answer in words, and each of the ways in the order of their weakness.
      fateWords() { return this.margin ? this.margin.answer : ""; },
      wayWords() { return this.margin ? this.margin.ways.map((w) => w.sentence) : []; },
      heading() {
        const along = this.curve ? this.curve.along : "tilt";
        return along === "tilt" ? "Energy against tilt" : along === "approach" ? "Energy against the way to the magnet" : "Energy along a way that it can move";
      },
      actingOn() { return `by all magnets and iron${this.brakes.length ? `; eddy currents in ${this.brakes.join(", ")} act only in motion and are left out` : ""}`; },
      command() {
        if (!this.pose) return "";
        if (!this.pose.changes) return `save the scene as a file first, then: snapsim release ${this.stem()}.toml`;
        const changes = this.pose.changes.map((c) => `--set '${c}'`).join(" ");
        if (this.starter) return `snapsim new scene.toml\nsnapsim release scene.toml ${changes}`;
        const file = /^[\w./\\:-]+$/.test(this.file) ? this.file : `'${this.file}'`;
        return `snapsim release ${file} ${changes}`;
      },
    },
    methods: {
      quantity, said,
      // To a micrometre or a thousandth of a degree, so that the unit has room behind it.
      plain(value) { return String(Number(value.toFixed(3))); },
      async call(name, ...given) {
        let answer = null;
        try {
          answer = await window.trame.trigger(name, [this.tabId, ...given]);
        } catch (fault) {
          const why = fault && fault.data && fault.data.exception;
          answer = { error: { key: null, message: `unexpected fault in ${name}: ${why || "no answer"}` } };
        }
        return answer || { error: { key: null, message: `no answer to ${name}` } };
      },

      // --- the scene -------------------------------------------------------------------------
      async open() {
        const answer = await this.call("hello");
        if (answer.error) {
          this.fault = answer.error.message;
          return;
        }
        this.cautions = answer.cautions;
        this.studyText = answer.study;
        Object.assign(this, { examples: answer.examples, kinds: answer.kinds, shapes: answer.shapes });
        this.take(answer.view);
        this.offerKept();
        this.ready = true;
        await this.$nextTick();
        this.setStage();
        this.see(answer.figures);
        this.standing(answer.standing);
        this.later();
      },
      take(view) {
        this.scene = view.scene;
        Object.assign(this, {
          title: view.title, note: view.note, file: view.file, starter: view.starter, part: view.part, parts: view.parts,
          partName: view.part_name, jointed: view.jointed, groups: view.fields, changed: view.changed, pose: view.pose,
          toml: view.toml, bodies: view.bodies, fastened: view.fastened, allGrips: view.grips, meshes: view.meshes, brakes: view.brakes,
        });
        this.keep();
        if (this.view && this.mode === "place") this.showScene();
      },
      setStage() {
        try {
          this.view = new StageView(this.$refs.stage);
        } catch (error) {
          this.fault = error.message;
          return;
        }
        this.view.onframe = () => {
          this.placeLabels();
          this.eyeOf(this.view, this.view2);
        };
        this.hands = new Hands(this.view, {
          part: () => (["place", "rehearse"].includes(this.mode) && this.tool !== "size" ? this.part : -1),
          sized: (index) => this.touchToSize(index),
          wished: () => (this.mode === "rehearse" ? this.wish : null),
          tool: () => this.tool, axis: () => this.axis,
          held: (now) => {
            this.holding = now;
            if (!now || this.mode === "rehearse") return;
            this.stroke = (this.stroke || 0) + 1;
            if (this.drafting) this.stopJob(this.drafting); // the figures come first
          },
          other: (index) => {
            const name = this.scene.bodies[index].name;
            if (this.mode === "place" && this.parts.includes(name)) this.choose(name);
          },
          moved: (position, quaternion, event) => {
            if (this.mode === "rehearse") this.wishFor(position, quaternion, event.timeStamp);
            else this.send(position, quaternion, event.timeStamp);
          },
        });
        this.clock = new Clock((t) => this.seek(t, true), () => {
          this.playing = false;
          this.later();
        });
        dress(this.view);
        this.showScene();
        window.snapsim.page = this;
      },
      // An unsaved scene stays in this browser, and in the window for the page of a lost connection.
      keep() {
        window.snapsim.unsaved = this.pose.moved ? { text: this.toml, file: this.file, meshes: this.keptMeshes() } : null;
        try {
          if (this.pose.moved) {
            localStorage.setItem(KEPT, JSON.stringify(window.snapsim.unsaved));
            this.kept = null;
            this.mine = true;
          } else if (this.mine) this.forgetKept(); // never what another tab, or an earlier day, kept
        } catch { // storage is full or refused: the server has the scene
        }
      },
      offerKept() {
        try {
          const kept = JSON.parse(localStorage.getItem(KEPT) || "null");
          if (kept && typeof kept.text === "string" && kept.text !== this.toml && !this.pose.moved) this.kept = kept;
        } catch { // not ours
        }
      },
      async takeKept() {
        const { text, file, meshes } = this.kept;
        this.kept = null;
        await this.bringMeshes(meshes);
        await this.change("scene", "open", text, file);
      },
      forgetKept() {
        this.kept = null;
        this.mine = false;
        localStorage.removeItem(KEPT);
      },
      async freshToml() {
        const answer = await this.call("toml");
        if (answer.error) return;
        this.toml = answer.toml;
        this.keep();
      },

      // --- building: each is one call, and one step for undo -----------------------------------
      async change(where, name, ...given) {
        const answer = await this.call(name, ...given);
        this.complain(where, answer);
        if (answer.error) return false;
        if (where === "scene") Object.assign(this, { verdict: null, byPart: null, curve: null, margin: null }); // of another scene
        this.take(answer.view);
        this.see(answer.figures);
        this.later();
        return true;
      },
      async addOne() {
        if (await this.change("build", "edit", "add", this.adding)) this.speak(`added a ${this.adding}`);
      },
      async editOne(kind, name) {
        if (await this.change("build", "edit", kind, name)) this.speak(`${kind} ${name}`);
      },
      async reshape(name, kind) { await this.change(`shape ${name}`, "reshape", name, kind); },
      async undo() { if (await this.change("build", "undo")) this.speak("undone"); },
      async redo() { if (await this.change("build", "redo")) this.speak("done again"); },
      async begin() { await this.change("scene", "begin", this.beginning); },
      async takeToml() {
        if (this.typedToml !== null && await this.change("toml", "retext", this.typedToml)) this.typedToml = null;
      },
      async openFile(event) {
        const files = [...event.target.files];
        event.target.value = "";
        if (files.length) await this.takeFiles(files);
      },
      async saveScene() {
        await this.freshToml();
        const address = URL.createObjectURL(new Blob([this.toml], { type: "application/toml" }));
        this.offer(address, `${this.stem()}.toml`);
        for (const [name, file] of Object.entries(this.meshes)) this.offer(file, name);
      },

      showScene() {
        this.view.show(this.scene);
        this.showPose();
      },
      showPose() {
        if (this.mode !== "place" || !this.view) return;
        this.view.move(this.part, this.pose.position, this.pose.quaternion);
        this.showArrows();
        this.showLines();
        this.showReach();
      },

      // --- studies: started, watched, cancelled, looked at --------------------------------------
      async beginStudy() {
        const answer = await this.call("study", this.study, { first: this.first || this.spans[0], second: this.second || this.spans[1], study: this.studyText });
        this.complain("study", answer);
        if (answer.error) return;
        this.asked = { ...(this.asked || {}), [answer.job]: this.poseKey };
        this.standing(answer);
      },

      // --- a rehearsal: the hand is told what is wished, the newest moment comes back -----------
      async rehearse() {
        if (this.releasing || this.mode === "rehearse") return;
        if (this.mode === "play") this.place();
        const answer = await this.call("rehearse_begin", this.handLimit, 1);
        this.complain("rehearse", answer);
        if (answer.error) return;
        Object.assign(this, { mode: "rehearse", danger: "calm", letGo: null });
        this.wish = { position: this.pose.position, quaternion: this.pose.quaternion };
        this.told = {};
        this.rehearsed = { seq: 0, since: [], lags: [], updates: new Counter(), warner: new Warner() };
        this.rehearsed.warner.on = this.tone;
        this.speak("rehearsal: the hand is getting ready");
        this.rehearseOn();
      },
      async rehearseOn() {
        while (this.mode === "rehearse") {
          const told = this.told;
          this.told = {};
          const news = await this.call("rehearse", told);
          if (news.error && !news.state) {
            this.complain("rehearse", news);
            this.place();
          } else this.takeMoment(news);
          await new Promise((next) => { requestAnimationFrame(next); });
        }
      },
      takeMoment(news) {
        if (["done", "failed"].includes(news.state)) {
          this.afterRehearsal(news);
          return;
        }
        const m = news.moment, r = this.rehearsed;
        for (const piece of [this.$refs.live, this.$refs.handfigures]) if (piece) piece.take(news, r.updates.count(news.moments));
        if (!m) return;
        if (JSON.stringify(news.let_go) !== JSON.stringify(this.letGo)) this.letGo = news.let_go;
        this.showMoment(m);
        for (const blow of news.new_blows) this.speak(blow);
        const danger = dangerOf(m, this.letGo);
        r.warner.hear(danger);
        if (danger !== this.danger) {
          this.danger = danger;
          if (DANGERS[danger]) this.speak(DANGERS[danger]);
        }
        while (r.since.length && r.since[0][0] <= m.seq) r.lags.push(performance.now() - r.since.shift()[1]);
      },
      showMoment(m) {
        this.scene.bodies.forEach((body, i) => { if (!body.fixed) this.view.move(i, m.position[i], m.quaternion[i]); });
        this.view.ghost("wish", this.part, m.held ? { position: m.wanted, quaternion: m.turned } : null, "#FFB454", 0.9);
        this.labels = showArrows(this.view, this.part, { force: m.pull, weight: m.weight_N, hand: m.held ? m.force_N : null }, this.layers);
      },
      wishFor(position, quaternion, since) {
        this.wish = { position, quaternion };
        const seq = ++this.rehearsed.seq;
        this.rehearsed.since.push([seq, since]);
        Object.assign(this.told, { position, quaternion, seq });
      },
      openHand(held) {
        this.told.held = held;
        if (held) {
          const { position, quaternion } = this.view.poses[this.part];
          this.wish = { position, quaternion };
        }
      },
      setHandPace(pace) { this.told.pace = pace; },
      setTone() { if (this.rehearsed) this.rehearsed.warner.on = this.tone; },
      endRehearsal() { this.told.end = true; },
      afterRehearsal(news) {
        this.view.ghost("wish", this.part, null);
        this.view.arrow("hand", null, "");
        if (news.state === "failed") this.complain("rehearse", news);
        this.place();
        if (!news.job) return;
        this.remember({ run: news.job, time: 0 });
        this.standing(news);
      },
      ofRehearsal() {
        const v = this.letGo;
        const kind = ["calm", "blind"].includes(this.danger) ? "unknown" : this.danger === "goes" ? "may_snap" : "snaps";
        const says = v ? (v.kind === "snaps" ? v.says : `If the hand lets go now: ${v.says}`) : "What happens if the hand lets go now is being looked at …";
        return { kind, says, more: v ? v.more : [], limits: v ? v.limits : [], stale: !v, mark: "draft, of a moment ago" };
      },

      ofRun(record) {
        const [says, ...more] = record.says, s = record.summary;
        const kind = record.warning ? "unknown" : "told", warned = (record.notes || []).filter((n) => n.warns).length;
        const warnings = warned ? ` · ${warned} warning${warned > 1 ? "s" : ""} under Runs` : "";
        return { kind, says, more, limits: [], stale: false, mark: `${this.nameOf(this.shown)} · ${s.outcome}${warnings}` };
      },
      nameOf(number) { return (this.runs.find((r) => r.number === number) || { name: "run" }).name; },

      // --- the pose: one call in flight, the newest next ------------------------------------
      send(position, quaternion, since = performance.now()) {
        if (this.holding && this.looking && this.leftOff !== this.looking.number) this.leaveOff(this.looking);
        this.want = { position, quaternion, since };
        if (!this.sending) this.sendNext();
      },
      async sendNext() {
        this.sending = true;
        while (this.want) {
          const { position, quaternion, since } = this.want;
          this.want = null;
          const asked = performance.now();
          const answer = await this.call("move", position, quaternion, this.stroke || 0);
          if (window.snapsim.delays) window.snapsim.asked = [asked - since, performance.now() - asked];
          this.answered(answer, since);
        }
        this.sending = false;
        this.later();
      },
      answered(answer, since) {
        this.complain("pose", answer);
        if (answer.error) {
          this.view.refresh();
          if (this.jointed) this.showPose();
          return;
        }
        if (answer.pose && !this.want) this.takePose(answer.pose); // a quick key builds on the newest wish
        this.see(answer.figures, since);
        if (this.jointed || !(this.holding || this.want)) this.showPose(); // not where it no longer is
      },
      // A field whose value is a new one has lost what was complained of; the others keep it.
      takePose(pose) {
        const before = this.pose, gone = ["gap"];
        ["x", "y", "z"].forEach((axis, k) => {
          if (!before || before.typed_mm[k] !== pose.typed_mm[k]) gone.push(axis);
          if (!before || before.typed_deg[k] !== pose.typed_deg[k]) gone.push(`about_${axis}`);
        });
        if (gone.length > 1) this.complaints = Object.fromEntries(Object.entries(this.complaints).filter(([k]) => !gone.includes(k)));
        this.pose = pose;
      },
      see(figures, since = null) {
        this.figures = figures;
        if (!figures) {
          if (this.view) this.view.refresh();
          clearTimeout(this.retry);
          this.retry = setTimeout(() => this.lookAgain(), 120);
          return;
        }
        const near = figures.nearest_magnet;
        this.gap = near ? { to: near, text: `${(1e3 * figures.gap_m).toFixed(3)} mm` } : null;
        this.showArrows();
        if (since === null || !this.view || !window.snapsim.delays) return;
        // measured where asked for: the new figures are in the page, the new arrow in its picture
        this.$nextTick(() => requestAnimationFrame(() => {
          this.view.finish();
          const all = performance.now() - since;
          window.snapsim.delays?.push({ all, event: window.snapsim.asked[0], answer: window.snapsim.asked[1] });
        }));
      },
      // The figures were not ready: ask again, but not where the answer is a fault.
      async lookAgain() {
        const answer = await this.call("look");
        this.complain("figures", answer);
        if (answer.error) return;
        this.see(answer.figures);
        this.later();
      },
      async nudge(way, tilt, far) {
        if (performance.now() - (this.nudged || 0) > 800) this.stroke = (this.stroke || 0) + 1;
        this.nudged = performance.now();
        const p = this.mode === "rehearse" ? this.wish : this.pose;
        let { position, quaternion } = p;
        if (tilt) quaternion = normalised(multiply(about(way, (far * this.step * Math.PI) / 180), quaternion));
        else position = add(position, way, far * this.step * 1e-3);
        if (this.mode === "rehearse") {
          this.wishFor(position, quaternion, performance.now());
          return;
        }
        this.pose = { ...p, position, quaternion };
        this.view.move(this.part, position, quaternion);
        this.send(position, quaternion);
      },
      async typePose(field, text) {
        const answer = await this.call("type_pose", field, text);
        this.complain(field, answer);
        if (!answer.error) this.answered(answer, performance.now());
        this.later();
      },
      async simple(name) {
        const answer = await this.call(name);
        this.complain("pose", answer);
        if (!answer.error) this.answered(answer, performance.now());
        this.later();
      },
      async put(key, value) {
        const answer = await this.call("put", key, value);
        this.complain(key, answer);
        if (answer.error) return;
        this.take(answer.view);
        this.see(answer.figures);
        this.later();
      },
      async choose(name) {
        const answer = await this.call("choose", name);
        this.complain("part", answer);
        if (answer.error) return;
        this.take(answer.view);
        this.see(answer.figures);
        this.later();
      },
      complain(key, answer) {
        const others = Object.fromEntries(Object.entries(this.complaints).filter(([k]) => k !== key));
        if (answer.error) {
          const e = answer.error;
          others[key] = (e.key && e.key !== key && !e.key.endsWith(key) ? `${e.key}: ` : "") + e.message;
          this.speak(others[key]);
        }
        this.complaints = others;
      },

      // --- curve and margins, once the pose has been quiet for a while ----------------------
      later() {
        clearTimeout(this.quiet);
        this.quiet = setTimeout(() => {
          this.askLines();
          this.judge();
          if (this.ready && this.tomlFor !== this.poseKey && !this.holding) {
            this.tomlFor = this.poseKey;
            this.freshToml();
          }
        }, QUIET);
      },
      // A draft release first, the curve and the margins after it.
      async judge() {
        if (this.holding || this.mode !== "place" || !this.figures || this.figures.overlap) return;
        if (this.verdictFor === this.poseKey || this.draftFor === this.poseKey) {
          if (!this.drafting) this.explain();
          return;
        }
        this.draftFor = this.poseKey;
        const answer = await this.call("draft");
        this.complain("draft", answer);
        if (answer.job) this.asked = { ...(this.asked || {}), [answer.job]: this.draftFor };
        this.standing(answer);
      },
      async explain() {
        if (this.holding || this.mode !== "place" || !this.figures || this.figures.overlap || this.curveFor === this.poseKey || this.askedFor === this.poseKey) return;
        this.askedFor = this.poseKey;
        this.speak(`pull ${said(this.pull, "N")}, ${this.weights}; gap ${said(this.figures.gap_m, "m")}`);
        for (const what of ["parts", "curve"]) {
          const answer = await this.call("explain", what);
          if (answer.job) this.asked = { ...(this.asked || {}), [answer.job]: this.askedFor };
          this.standing(answer);
        }
      },
      standing(answer) {
        if (!answer || answer.error) return;
        const before = Object.fromEntries(this.jobs.map((j) => [j.number, j.state]));
        this.jobs = answer.jobs;
        this.runs = answer.runs;
        for (const job of answer.jobs) {
          if (before[job.number] === job.state || !["done", "failed", "cancelled"].includes(job.state)) continue;
          this.over(job, job.number in before);
        }
        clearTimeout(this.polling);
        if (answer.jobs.some((j) => ["waiting", "running"].includes(j.state)))
          this.polling = setTimeout(async () => this.standing(await this.call("standing")), POLL);
      },
      async over(job, fresh) {
        if (job.state === "failed") {
          this.complaints = { ...this.complaints, [job.kind]: job.error };
          if (job.kind === "curve") await this.askMargin(this.asked && this.asked[job.number]);
          if (job.kind === "draft") this.explain();
        }
        if (job.kind === "draft" && job.state === "cancelled" && this.asked[job.number] === this.draftFor) this.draftFor = "";
        if (job.state !== "done") return;
        if (["release", "load"].includes(job.kind)) {
          const again = this.shownBefore(), first = job.kind === "load" && !again;
          if (fresh || first) await this.showRun(job.number, true);
          else if (again && again.run === job.number) await this.showRun(job.number, false, again.time);
          return;
        }
        if (!fresh) return;
        const answer = await this.call("result", job.number);
        if (answer.error) return;
        const key = this.asked && this.asked[job.number];
        if (job.kind === "draft") {
          this.verdict = answer.result;
          this.verdictFor = key;
          if (key === this.poseKey) this.speak([this.verdict.says, ...this.verdict.more].join(" "));
          this.explain();
        } else if (job.kind === "curve") {
          this.curve = answer.result;
          this.curveFor = key;
          await this.askMargin(key);
        } else if (job.kind === "margin") {
          this.margin = answer.result;
          this.marginFor = key;
        } else if (job.kind === "study") {
          this.studies = [{ ...answer.result, number: job.number, stale: key !== this.poseKey }, ...this.studies];
          this.speak("a study is done");
        } else if (job.kind === "parts") {
          this.byPart = Vue.markRaw(answer.result);
          this.byPartFor = key;
          this.showArrows();
          this.showReach();
        } else if (job.kind === "differ") {
          this.headings = { ...this.headings, [key]: answer.result.headings };
        } else if (job.kind === "lines") {
          this.lines = Vue.markRaw(answer.result.lines);
          this.linesFor = key;
          this.showLines();
        } else if (["clip", "html"].includes(job.kind)) this.offer(answer.file, `${this.stem()}.${job.kind === "clip" ? "mp4" : "html"}`);
      },

      async askMargin(key) {
        if (key !== this.poseKey) return;
        const next = await this.call("explain", "margin");
        if (next.job) this.asked = { ...this.asked, [next.job]: key };
        this.standing(next);
      },

      // --- release and runs --------------------------------------------------------------------
      async release() {
        if (this.releasing) return;
        const answer = await this.call("release");
        this.complain("release", answer);
        if (answer.error) return;
        this.speak("released: computing");
        // A run that ends while the page is being loaded again is shown then.
        const mine = answer.jobs.filter((j) => j.kind === "release").at(-1);
        if (mine) this.remember({ run: mine.number, time: 0 });
        this.standing(answer);
      },
      // What is looked for of a pose that the part has left would only slow the figures that follow the hand.
      leaveOff(job) {
        this.leftOff = job.number;
        this.askedFor = this.curveFor = ""; // asked again wherever the part ends, here too
        this.stopJob(job);
      },
      async stopJob(job) { this.standing(await this.call("stop", job.number)); },
      // Ends with what was found until then.
      async keepOf(job) { this.standing(await this.call("stop", job.number, true)); },
      async fetchRun(number) {
        if (this.records[number]) return;
        const answer = await this.call("result", number);
        if (!answer.error) this.records = { ...this.records, [number]: Vue.markRaw(new Recording(answer.result)) };
      },
      // What this tab showed before it was loaded again: a run and its time, or placing (null).
      shownBefore() {
        try {
          return JSON.parse(sessionStorage.getItem(`snapsim-shown-${this.tabId}`) || "null");
        } catch {
          return null;
        }
      },
      remember(what) { sessionStorage.setItem(`snapsim-shown-${this.tabId}`, JSON.stringify(what)); },
      async showRun(number, play, time = 0) {
        await this.fetchRun(number);
        if (!this.records[number]) return;
        this.shown = number;
        if (this.compare === number) this.compare = null;
        this.mode = "play";
        this.tab = "runs";
        this.clock.end = this.lastTime;
        this.follow(this.partName);
        this.view.show(this.record.scene);
        this.showLayers();
        this.seek(time);
        this.remember({ run: number, time });
        if (this.record.blow) this.speak(this.record.blow.words);
        if (play) this.play();
      },
      // Whose figures, arrows and path are shown of the runs: the part that was placed, if it moved.
      follow(name) {
        for (const record of [this.record, this.other]) {
          const body = record && record.bodies.find((b) => b.name === name);
          if (body) record.follow(body.index);
        }
        this.followed = this.record.partName;
        if (!this.view.bodies.length) return;
        this.showLayers();
        this.seek(this.time);
      },
      async chooseCompare(number) {
        if (number !== null) {
          await this.fetchRun(number);
          const shown = this.shown === null ? this.runs.find((r) => r.number !== number).number : this.shown;
          if (this.mode !== "play") await this.showRun(shown, false);
        }
        this.compare = number;
        if (this.record) this.follow(this.followed);
        this.showLayers();
        this.seek(this.time);
      },
      place() {
        this.clock.pause();
        this.playing = false;
        this.mode = "place";
        this.tab = "place";
        this.remember({ run: null, time: 0 });
        this.linesAsked = null;
        this.showScene();
        this.later();
      },
      play() {
        if (!this.record) return;
        this.clock.pace = this.pace;
        if (this.playing) {
          this.clock.pause();
          this.remember({ run: this.shown, time: this.time });
        } else this.clock.play();
        this.playing = !this.playing;
        this.later();
      },
      // --- a show: full screen, step by step ---------------------------------------------------
      startShow() {
        if (!this.record || this.mode !== "play") return;
        const whole = document.documentElement.requestFullscreen;
        if (whole) whole.call(document.documentElement).catch(() => {}); // refused: as large as the window
        this.goShow(0);
      },
      goShow(step) {
        if (this.playing) this.play();
        this.showStep = Math.min(Math.max(step, 0), this.steps.length - 1);
        const { from, to, pace } = this.steps[this.showStep];
        this.seek(from);
        if (!pace) return;
        this.clock.end = to;
        this.pacedBefore = this.pacedBefore || this.pace;
        this.pace = pace;
        this.play();
      },
      leaveShow() {
        if (this.playing) this.play();
        this.showStep = -1;
        this.clock.end = this.lastTime;
        this.pace = this.pacedBefore || this.pace;
        this.pacedBefore = 0;
        if (document.fullscreenElement) document.exitFullscreen();
      },
      showKey(event) {
        if (event.key === "Escape") this.leaveShow();
        else if (SHOW_KEYS[event.key]) this.goShow(this.showStep + SHOW_KEYS[event.key]);
        else return;
        event.preventDefault();
      },
      setPace(value) { this.pace = this.clock.pace = value; },
      seek(time, ticking = false) {
        if (!this.record || this.mode !== "play") return;
        this.time = Math.min(Math.max(time, 0), this.lastTime);
        if (!ticking) {
          this.clock.time = this.time;
          this.remember({ run: this.shown, time: this.time });
        }
        showRecord(this.view, this.record, this.time);
        showOther(this.view, this.besides ? null : this.other, this.time);
        this.seekBesides();
        this.showArrows();
        if (this.layers.lines) this.showLines();
        if (!ticking) this.later();
      },
      showLayers() {
        if (this.mode === "play" && this.record) showLayers(this.view, this.record, this.besides ? null : this.other, this.layers);
      },
      // Which moment the field lines are of: a pose, or a run and its time.
      momentKey() { return this.mode === "play" ? JSON.stringify([this.shown, this.time]) : this.poseKey; },
      showLines() {
        if (!this.view) return;
        const mine = this.lines && (this.linesFor.startsWith("[\"") === (this.mode === "place"));
        showLines(this.view, this.layers.lines && mine ? this.lines : null, this.linesFor !== this.momentKey());
      },
      async askLines() {
        if (!this.layers.lines || this.playing || this.holding || this.linesAsked === this.momentKey()) return;
        if (this.mode === "place" && (!this.figures || this.figures.overlap)) return;
        this.linesAsked = this.momentKey();
        const play = this.mode === "play";
        const answer = await this.call("lines", play ? this.shown : null, play ? this.time : 0);
        if (answer.job) this.asked = { ...(this.asked || {}), [answer.job]: this.linesAsked };
        this.standing(answer);
      },
      toggleLayer(name) {
        this.layers[name] = !this.layers[name];
        this.showLines();
        this.askLines();
        this.showLayers();
        this.showArrows();
      },
      showArrows() {
        if (!this.view || !this.view.bodies.length) return;
        const play = this.mode === "play" && this.record, f = this.figures;
        this.view.alarmed = !play && f && f.overlap ? this.part : -1;
        const sizing = !play && this.tool === "size";
        const acting = sizing ? null : play ? { ...this.now, weight: this.record.weight_N }
          : f && f.force_N && { force: f.force_N, torque: f.torque_Nm, weight: f.weight_N };
        this.labels = showArrows(this.view, play ? this.record.part : this.part, acting, this.layers);
        const here = !play && !sizing && this.byPart && this.byPartFor === this.poseKey ? this.byPart : null;
        showPulls(this.view, this.part, here && this.layers.force ? here.cards : []);
        this.labels.push(...showHands(this.view, here ? here.hands : [], (h) => `${h.name}: ${h.gap_m === null ? "free" : said(h.gap_m, "m")}`));
        const reached = !play && this.reachOf();
        if (reached) this.labels.push({ name: "reach", text: `${said(1e3 * reached.limit_T, "")} mT, ${said(reached.distance_m, "m")}`, point: add(this.byPart.centre, [0, 0, reached.distance_m]) });
      },
      // A hand's gap, and the notice that a draft release left it.
      handWords(hand) {
        const gap = hand.gap_m === null ? "nothing can close on it" : `${said(hand.gap_m, "m")} to ${hand.to}`;
        const shut = this.verdictFor === this.poseKey && ((this.verdict || {}).gaps || []).find((g) => g.place === hand.name && g.shut_s !== null);
        return shut ? `${hand.name}: ${gap}, shut after ${said(shut.shut_s, "s", 3)}, ${said(shut.notice_s || 0, "s", 3)} of notice` : `${hand.name}: ${gap}`;
      },
      showReach() {
        if (!this.view) return;
        const stray = this.reachOf();
        showReach(this.view, this.byPart && this.byPart.centre, stray ? stray.distance_m : 0);
      },
      // The farthest reaching of the limits that the stray field is held against.
      reachOf() { return this.reach && this.byPart && this.mode === "place" && this.byPart.stray.find((s) => s.distance_m); },
      toggleReach() {
        this.reach = !this.reach;
        this.showReach();
        this.showArrows();
      },
      placeLabels() {
        if (this.$refs.labels) placeLabels(this.view, this.labels, this.$refs.labels);
        this.placeGrips();
      },

      // --- files -------------------------------------------------------------------------------
      offer(address, name) {
        const link = document.createElement("a");
        Object.assign(link, { href: address, download: name });
        document.body.append(link);
        link.click();
        link.remove();
      },
      stem() { return this.file.replace(/^.*[\\/]/, "").replace(/\.[^.]*$/, "").replace(/\W+/g, "-").replace(/^-|-$/g, "") || "run"; },
      async saveRun() {
        const answer = await this.call("file_of", this.shown);
        if (answer.file) this.offer(answer.file, `${this.stem()}.h5`);
      },
      async savePage() {
        const answer = await this.call("html", this.shown);
        this.complain("clip", answer);
        this.standing(answer);
      },
      async saveClip() {
        const [width, height] = this.clipSize.split("x").map(Number);
        const answer = await this.call("clip", this.shown, width, height);
        this.complain("clip", answer);
        this.standing(answer);
      },
      // The stage as it stands with its labels, 3840 pixels wide or high; half of it without a graphics
      // card, where that would take a quarter of a minute. Two runs side by side are one picture.
      savePicture() {
        const views = this.besides ? [this.view, this.view2] : [this.view], labels = [this.labels, this.labels2];
        const { clientWidth: w, clientHeight: h } = this.view.canvas;
        views.forEach((v) => v.picture((this.view.slow ? 1920 : 3840) / Math.max(views.length * w, h)));
        const { width, height } = this.view.canvas, to = document.createElement("canvas");
        Object.assign(to, { width: views.length * width, height });
        const unit_ = Math.max(to.width, height) / 1280, pen = to.getContext("2d");
        if (!pen) return;
        const said_ = (size, bold, text, x, y, room = to.width) => {
          pen.font = `${bold ? 700 : 400} ${size * unit_}px snapsim, sans-serif`;
          pen.fillText(text, x + 24 * unit_, y, room - 48 * unit_);
        };
        views.forEach((v, k) => {
          pen.drawImage(v.canvas, k * width, 0);
          pen.fillStyle = getComputedStyle(this.$el).color;
          this.paintLabels(pen, v, labels[k], width / w, k * width, unit_);
          if (this.titles[k]) this.paintTitle(pen, this.titles[k], k * width, unit_);
          v.refresh();
        });
        pen.textAlign = "start";
        pen.textBaseline = "alphabetic";
        pen.fillStyle = getComputedStyle(this.$el).color;
        said_(22, true, this.title, 0, 44 * unit_);
        const n = this.now;
        said_(16, false, n ? `${n.time.toFixed(4)} s   ${this.besides ? "" : `${said(n.speed, "m/s")}   ${said(n.kinetic, "J")}`}` : `pull ${said(this.pull, "N")}, ${this.weights}`, 0, 72 * unit_);
        said_(13, false, "Computed, not a permission: strong magnets crush and shatter, results vary; local rules and qualified people decide.", 0, height - 20 * unit_);
        to.toBlob((blob) => blob && this.offer(URL.createObjectURL(blob), `${this.stem()}.png`), "image/png");
      },

      paintTitle(pen, title, left, unit_) {
        const text = `${title.name}: ${title.words || "as the other"}`;
        pen.font = `700 ${16 * unit_}px snapsim, sans-serif`;
        pen.fillStyle = "#18222be6";
        pen.fillRect(left + 14 * unit_, 82 * unit_, pen.measureText(text).width + 20 * unit_, 30 * unit_);
        pen.fillStyle = "#f4f7f6";
        pen.fillText(text, left + 24 * unit_, 102 * unit_);
      },
      paintLabels(pen, view, labels, ratio, left, unit_) {
        pen.save();
        pen.font = `700 ${16 * unit_}px snapsim, sans-serif`;
        pen.textAlign = "center";
        pen.textBaseline = "middle";
        for (const label of labels) {
          const [x, y] = view.project(label.point).map((v) => v * ratio), wide = pen.measureText(label.text).width;
          pen.fillStyle = "#18222be6";
          pen.fillRect(left + x - wide / 2 - 9 * unit_, y - 13 * unit_, wide + 18 * unit_, 26 * unit_);
          pen.fillStyle = "#f4f7f6";
          pen.fillText(label.text, left + x, y);
        }
        pen.restore();
      },

      // --- keys ----------------------------------------------------------------------------------
      key(event) {
        if (event.defaultPrevented || event.altKey) return;
        if (event.ctrlKey || event.metaKey) {
          this.stepKey(event);
          return;
        }
        if (this.showStep >= 0) {
          this.showKey(event);
          return;
        }
        const typing = ["INPUT", "SELECT", "TEXTAREA"].includes(event.target.tagName);
        if (event.key === "Escape") this.escape(event);
        else if (typing) return;
        else if (event.key === "?") this.keys = !this.keys;
        else if (this.plainKey(event)) event.preventDefault();
      },
      stepKey(event) {
        if (event.key.toLowerCase() !== "z" || ["INPUT", "SELECT", "TEXTAREA"].includes(event.target.tagName) || this.mode !== "place") return;
        event.preventDefault();
        if (event.shiftKey) this.redo();
        else this.undo();
      },
      escape(event) {
        if (this.keys) this.keys = false;
        else if (this.mesh) this.leaveMesh();
        else if (this.releasing) this.stopJob(this.releasing);
        else if (this.mode === "rehearse") this.endRehearsal();
        else if (this.mode === "play") this.place();
        else if (event.target.blur) event.target.blur();
      },
      plainKey(event) {
        const key = event.key.length === 1 ? event.key.toLowerCase() : event.key, far = event.shiftKey ? 10 : 1;
        const onButton = event.target.tagName === "BUTTON" && [" ", "Enter"].includes(event.key);
        if (onButton) return false;
        if (this.mode !== "play" && MOVES[key]) this.nudge(MOVES[key], false, far);
        else if (this.mode !== "play" && TILTS[key]) this.nudge(TILTS[key], true, far);
        else if (this.mode === "play" && ["ArrowLeft", "ArrowRight"].includes(key)) this.scrub(key === "ArrowLeft" ? -1 : 1, far);
        else if (LOOKS[key]) this.view.orbit(...LOOKS[key]);
        else if (key === "z") this.view.zoom(0.85);
        else if (key === "x") this.view.zoom(1 / 0.85);
        else if (key === "f") this.view.reset();
        else if (key === "+" || key === "-") this.step = STEPS[Math.min(STEPS.length - 1, Math.max(0, STEPS.indexOf(this.step) + (key === "+" ? 1 : -1)))];
        else if (key === "g" && this.mode === "place") this.simple("set_down");
        else if (key === "b" && this.mode === "place") this.simple("lay_flat");
        else if (key === "m" && this.mode === "place") this.simple("to_pole");
        else if (key === "o" && this.mode === "place") this.tool = this.tool === "size" ? "move" : "size";
        else if (key === "Home" && this.mode === "place") this.simple("back");
        else if (key === "r" && this.mode === "rehearse") this.openHand(!this.$refs.live.held);
        else if (key === "r") this.release();
        else if (key === "h") this.rehearse();
        else if (key === "v") this.startShow();
        else if (key === " " && this.mode === "play") this.play();
        else if (key === "," || key === ".") this.scrub(key === "," ? -1 : 1, far);
        else if ("12345".includes(key)) this.toggleLayer(["force", "torque", "trail", "start", "lines"][Number(key) - 1]);
        else if (key === "6" && this.mode === "place") this.toggleReach();
        else if (key === "p") this.savePicture();
        else if (key === "t" && this.other) this.toggleAbreast();
        else return false;
        return true;
      },
      scrub(sign, far) { if (this.record) this.seek(this.time + (sign * far * this.record.end) / 500); },
      turnTab(way) {
        const all = ["place", "build", "runs", "studies"];
        this.tab = all[(all.indexOf(this.tab) + way + all.length) % all.length];
        this.$nextTick(() => document.getElementById(`tab-${this.tab}`)?.focus());
      },
      speak(text) { this.spoken = text; },
    },
    watch: {
      keys(open) {
        if (open) this.from = document.activeElement;
        this.$nextTick(() => (open ? this.$refs.close : this.from || this.$refs.keysButton).focus());
      },
    },
    mounted() {
      this.tabId = tabName();
      this.open();
      document.addEventListener("keydown", this.key);
      this.watchDrops();
      document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement && this.showStep >= 0) this.leaveShow(); });
      this.theme = matchMedia("(prefers-color-scheme: light)");
      this.theme.addEventListener("change", () => this.view && dress(this.view));
    },
    template: document.getElementById("page-template")?.innerHTML,
  };

  window.snapsim.plugin = {
    install: (app) => {
      app.component("snap-page", SnapPage);
      app.component("snap-lost", window.snapsim.SnapLost);
    },
  };
})();
