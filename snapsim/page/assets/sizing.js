// Sizes drawn by hand: a grip on each face or rim of the chosen body, each a slider of its own, so
// that mouse, finger, pen and keys reach it. While one is drawn only an outline changes; letting go is
// one call, and one step for undo.
(() => {
  "use strict";
  const { add, sub, dot, rotate } = window.snapsim.math;
  const LEAST = 1e-4, MOST = 5; // m, as the server has them
  const FINE = 1e-4, WHOLE = 1e-3; // m: what a drawn size is rounded to
  const ASIDE = 0.03; // of the stage: how far before the face a grip is shown
  const mm = (value) => `${Number((1e3 * value).toFixed(2))} mm`;

  // The size [m] of a grip when the pointer's ray passes nearest its axis; null along the axis.
  function sizeAt(pose, grip, { eye, way }, whole) {
    const from = add(pose.position, rotate(pose.quaternion, grip.point)), n = rotate(pose.quaternion, grip.axis);
    const w = sub(from, eye), b = dot(n, way), denominator = 1 - b * b;
    if (denominator < 1e-3) return null;
    const gone = (b * dot(w, way) - dot(w, n)) / denominator;
    return rounded(grip.value + grip.growth * gone, whole);
  }
  function rounded(value, whole) {
    const unit = whole ? WHOLE : FINE;
    return Math.min(Math.max(Math.round(value / unit) * unit, whole ? WHOLE : LEAST), MOST);
  }
  // Where the body's outline and the grip are once a size is `value` [m].
  function drawnTo(pose, grip, value) {
    const grown = value - grip.value, axis = rotate(pose.quaternion, grip.axis);
    const stretch = [0, 1, 2].map((k) => (grip.stretch.includes(k) ? value / grip.value : 1));
    const point = add(pose.position, rotate(pose.quaternion, grip.point));
    return {
      outline: { position: add(pose.position, axis, grip.shift * grown), quaternion: pose.quaternion, stretch },
      point: add(point, axis, grown / grip.growth),
    };
  }

  /** @type {Component} */
  const sizing = {
    data: () => ({ sized: "", allGrips: {}, gripped: -1, drawing_m: 0, whole: false }),
    computed: {
      sizedName() { return this.allGrips[this.sized] ? this.sized : this.allGrips[this.partName] ? this.partName : Object.keys(this.allGrips)[0] || ""; },
      grips() { return this.tool === "size" && this.mode === "place" ? this.allGrips[this.sizedName] || [] : []; },
      sizedIndex() { return this.scene.bodies.findIndex((b) => b.name === this.sizedName); },
    },
    watch: {
      grips() { this.$nextTick(() => this.placeGrips()); },
      tool() {
        this.showArrows(); // none while sizes are drawn
        this.complaints = Object.fromEntries(Object.entries(this.complaints).filter(([k]) => k !== "size"));
      },
    },
    methods: {
      mm,
      // Bring the grips, buttons over the picture, to where they stand on the body.
      placeGrips() {
        const box = this.$refs.grips, index = this.grips.length ? this.sizedIndex : -1;
        if (!box || index < 0 || !this.view.poses[index]) return;
        this.grips.forEach((grip, k) => {
          const pose = this.view.poses[index], value = this.gripped === k ? this.drawing_m : grip.value;
          const out = rotate(pose.quaternion, grip.axis), point = add(drawnTo(pose, grip, value).point, out, ASIDE * this.view.size);
          const [x, y] = this.view.project(point), node = box.children[k];
          if (node) node.style.transform = `translate(${x}px, ${y}px) translate(-50%, -50%)`;
        });
      },
      gripDown(event, k) {
        if (event.button) return;
        event.target.closest("button").focus();
        event.currentTarget.setPointerCapture(event.pointerId);
        Object.assign(this, { gripped: k, drawing_m: this.grips[k].value });
      },
      gripMove(event, k) {
        if (this.gripped !== k) return;
        const box = this.view.canvas.getBoundingClientRect(), pose = this.view.poses[this.sizedIndex];
        const ray = this.view.ray(event.clientX - box.left, event.clientY - box.top);
        const value = sizeAt(pose, this.grips[k], ray, this.whole !== event.shiftKey);
        if (value === null) return;
        this.drawing_m = value;
        this.view.ghost("size", this.sizedIndex, drawnTo(pose, this.grips[k], value).outline, "#FFB454", 1);
        this.placeGrips();
      },
      async gripUp(event, k) {
        if (this.gripped !== k) return;
        const value = this.drawing_m, grip = this.grips[k];
        this.view.ghost("size", this.sizedIndex, null);
        if (event.type === "pointerup" && value !== grip.value) await this.resize(k, value, null);
        this.gripped = -1;
        this.placeGrips();
      },
      async gripKey(event, k) {
        const way = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 }[event.key];
        if (!way || event.altKey || event.ctrlKey) return;
        event.preventDefault();
        event.stopPropagation();
        const step = way * (this.whole !== event.shiftKey ? 1 : this.step) * 1e-3;
        const again = performance.now() - (this.nudged || 0) < 800 && this.wished && this.wished.k === k;
        if (!again) this.stroke = (this.stroke || 0) + 1;
        this.nudged = performance.now();
        this.wished = { k, value: rounded((again ? this.wished.value : this.grips[k].value) + step, false) };
        if (this.resizing) return; // the newest wish is next
        this.resizing = true;
        for (let done = null; this.wished && done !== this.wished.value;) {
          done = this.wished.value;
          if (!await this.resize(k, done, this.stroke)) this.wished = null;
        }
        this.resizing = false;
      },
      async resize(k, value, stroke) {
        const grip = this.grips[k];
        const done = await this.change("size", "resize", this.sizedName, grip.key, k, value, stroke);
        if (done) this.speak(`${grip.words}: ${mm(value)}`);
        return done;
      },
      // A size tool that nothing has sizes for would be empty: said instead.
      touchToSize(index) {
        const { name } = this.scene.bodies[index];
        if (this.allGrips[name]) this.sized = name;
        else this.complain("size", { error: { key: null, message: `${name} has no sizes to draw: change its file, corners or members` } });
      },
    },
  };

  Object.assign(window.snapsim, { sizing, sizeAt, drawnTo, rounded });
})();
