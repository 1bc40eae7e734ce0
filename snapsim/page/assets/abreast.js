// Two runs side by side on one clock, seen by one eye, each under what sets it apart from the other.
(() => {
  "use strict";
  const { StageView, Hands, showRecord, showArrows, placeLabels, dress } = window.snapsim;
  const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

  /** @type {Component} */
  const abreast = {
    data: () => ({ abreast: false, headings: {}, labels2: [] }),
    computed: {
      besides() { return this.abreast && this.mode === "play" ? this.other : null; },
      // Until both have come to their end.
      lastTime() { return this.record ? Math.max(this.record.end, this.besides ? this.besides.end : 0) : 0; },
      titles() {
        if (!this.besides) return [];
        const told = this.headings[`${this.shown},${this.compare}`] || ["", ""];
        return [this.shown, this.compare].map((n, k) => ({ name: this.nameOf(n), words: told[k] }));
      },
    },
    watch: {
      besides() { this.$nextTick(() => this.showBesides()); },
    },
    methods: {
      toggleAbreast() {
        this.abreast = !this.abreast;
        this.seek(Math.min(this.time, this.lastTime));
      },
      // The second picture: made when first wanted, its scene taken when another run is chosen.
      async showBesides() {
        if (this.record) this.clock.end = this.lastTime;
        this.showLayers();
        this.seek(this.time);
        if (!this.besides) return;
        if (!this.view2) {
          this.view2 = new StageView(this.$refs.stage2);
          new Hands(this.view2, { part: () => -1, tool: () => "", axis: () => "", moved() {}, held() {}, other() {} });
          this.view2.onframe = () => {
            this.eyeOf(this.view2, this.view);
            placeLabels(this.view2, this.labels2, this.$refs.labels2);
          };
          dress(this.view2);
        }
        this.view2.show(this.besides.scene);
        this.seek(this.time);
        this.eyeOf(this.view, this.view2);
        const key = `${this.shown},${this.compare}`;
        if (this.headings[key]) return;
        const answer = await this.call("differ", this.shown, this.compare);
        if (answer.job) this.asked = { ...(this.asked || {}), [answer.job]: key };
        this.standing(answer);
      },
      // What one picture's eye sees, the other's sees too.
      eyeOf(one, other) {
        if (!this.besides || !other || same(one.camera, other.camera)) return;
        other.camera = { ...one.camera };
        other.refresh();
      },
      seekBesides() {
        const run = this.besides, view = this.view2;
        if (!run || !view || view.bodies.length !== run.scene.bodies.length) return;
        showRecord(view, run, this.time);
        view.trail("trail", this.layers.trail ? [run.path()] : null, view.colours.other, 3);
        this.labels2 = showArrows(view, run.part, { ...run.figures(this.time), weight: run.weight_N }, this.layers);
      },
    },
  };

  Object.assign(window.snapsim, { abreast });
})();
