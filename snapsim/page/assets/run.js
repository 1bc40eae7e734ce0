// The HTML of one run: everything it needs is in the file; nothing is asked of any network.
(() => {
  "use strict";
  const { StageView, Hands, Recording, Clock, LAYERS } = window.snapsim;
  const { showArrows, placeLabels, showRecord, showLayers, dress } = window.snapsim;
  const given = JSON.parse(document.getElementById("run")?.textContent || "null");
  const LOOKS = { j: [20, 0], l: [-20, 0], i: [0, 16], k: [0, -16] };

  /** @type {Component} */
  const Run = {
    components: window.snapsim.parts,
    data: () => ({
      title: given.run.title, scene: given.scene, cautions: given.cautions, version: given.version,
      record: Vue.markRaw(new Recording(given.run)), layers: Object.fromEntries(Object.entries(LAYERS).filter(([name]) => name !== "lines")), fault: "",
      time: 0, playing: false, pace: 0.05, labels: [], followed: "",
    }),
    computed: {
      now() { return { ...this.record.figures(this.time), of: this.followed }; },
      announced() { return this.record.blow && this.time >= this.record.blow.time ? this.record.blow.words + (this.record.warning ? " (untrusted run)" : "") : ""; },
    },
    methods: {
      seek(time, ticking = false) {
        this.time = Math.min(Math.max(time, 0), this.record.end);
        if (!ticking) this.clock.time = this.time;
        if (!this.view) return;
        showRecord(this.view, this.record, this.time);
        this.showArrows();
      },
      showArrows() {
        this.labels = showArrows(this.view, this.record.part, { ...this.now, weight: this.record.weight_N }, this.layers);
      },
      follow(name) {
        this.record.follow(this.record.bodies.find((b) => b.name === name).index);
        this.followed = name;
        if (this.view) showLayers(this.view, this.record, null, this.layers);
        this.seek(this.time);
      },
      toggleLayer(name) {
        this.layers[name] = !this.layers[name];
        showLayers(this.view, this.record, null, this.layers);
        this.showArrows();
      },
      play() {
        this.clock.pace = this.pace;
        if (this.playing) this.clock.pause();
        else this.clock.play();
        this.playing = !this.playing;
      },
      setPace(value) { this.pace = this.clock.pace = value; },
      key(event) {
        if (event.ctrlKey || event.metaKey || event.altKey || ["INPUT", "SELECT"].includes(event.target.tagName)) return;
        const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
        const step = ((event.shiftKey ? 10 : 1) * this.record.end) / 500;
        if (event.target.tagName === "BUTTON" && [" ", "Enter"].includes(key)) return;
        if (key === " ") this.play();
        else if (key === "," || key === "ArrowLeft") this.seek(this.time - step);
        else if (key === "." || key === "ArrowRight") this.seek(this.time + step);
        else if (LOOKS[key]) this.view.orbit(...LOOKS[key]);
        else if (key === "z") this.view.zoom(0.85);
        else if (key === "x") this.view.zoom(1 / 0.85);
        else if (key === "f") this.view.reset();
        else return;
        event.preventDefault();
      },
    },
    created() {
      this.clock = new Clock((t) => this.seek(t, true), () => { this.playing = false; });
      this.clock.end = this.record.end;
      this.followed = this.record.partName;
    },
    mounted() {
      window.snapsim.page = this;
      document.addEventListener("keydown", this.key);
      try {
        this.view = new StageView(this.$refs.stage);
      } catch (error) {
        this.fault = error.message;
        return;
      }
      this.hands = new Hands(this.view, { part: () => -1, tool: () => "move", axis: () => "", held() {}, moved() {}, other() {} });
      this.view.onframe = () => placeLabels(this.view, this.labels, this.$refs.labels);
      dress(this.view);
      matchMedia("(prefers-color-scheme: light)").addEventListener("change", () => dress(this.view));
      this.view.show(this.record.scene);
      showLayers(this.view, this.record, null, this.layers);
      this.seek(0);
    },
    template: document.getElementById("run-template")?.innerHTML,
  };
  Vue.createApp(Run).mount("#app");
})();
