// A rehearsal: what the hand is told and what comes back, how near the point of no return is, the tone
// that warns, and the two pieces of the page that show it. The moments come as often as the screen is
// drawn, so they pass by Vue's state of the page: each piece keeps its own.
(() => {
  "use strict";
  const { said } = window.snapsim;

  // Seconds of the hand's present way that count as near, and the least of it [m].
  const SOON = 0.5, CLOSE = 0.005;

  // "calm"; "blind": so close to other iron that the pull is not known; "goes": let go now or in a moment, it goes to the magnet; "edge": it is about to be torn
  // from the hand; "lost": it was.
  function dangerOf(moment, letGo) {
    if (moment.lost) return "lost";
    const near = Math.max(CLOSE, SOON * moment.speed);
    const within = (far) => far !== null && far <= near;
    if (moment.held && (within(moment.beats_in_m) || moment.used > 0.8)) return "edge";
    if (within(moment.lifts_in_m)) return "goes";
    if (letGo && ["snaps", "may_snap"].includes(letGo.kind)) return "goes";
    return moment.close_to ? "blind" : "calm";
  }
  const DANGERS = {
    calm: "", blind: "Too close to other iron: no warning can be given here.", goes: "Let go now or soon, it goes to the magnet.", edge: "About to be torn from the hand.",
    lost: "Torn from the hand.",
  };

  // Two beeps where danger rises, a lower one where the part is lost; made without any file.
  class Warner {
    constructor() {
      this.on = true;
      /** @type {AudioContext | null} */
      this.audio = null;
      this.last = "calm";
    }
    hear(level) {
      const rises = ["calm", "blind", "goes", "edge", "lost"];
      if (this.on && rises.indexOf(level) > rises.indexOf(this.last)) this.beep(level === "lost" ? [330] : level === "edge" ? [988, 988] : [660]);
      this.last = level;
    }
    beep(tones) {
      const Made = window.AudioContext;
      if (!Made) return;
      const audio = this.audio = this.audio || new Made();
      tones.forEach((tone, k) => {
        const from = audio.currentTime + 0.14 * k, voice = audio.createOscillator(), loud = audio.createGain();
        voice.frequency.value = tone;
        loud.gain.setValueAtTime(0.12, from);
        loud.gain.exponentialRampToValueAtTime(1e-3, from + 0.12);
        voice.connect(loud).connect(audio.destination);
        voice.start(from);
        voice.stop(from + 0.13);
      });
    }
  }

  // How many moments a second came in the last second.
  class Counter {
    constructor() {
      this.times = [];
    }
    count(moments, now = performance.now()) {
      if (!this.times.length || this.times.at(-1)[1] !== moments) this.times.push([now, moments]);
      while (this.times.length > 2 && now - this.times[0][0] > 1000) this.times.shift();
      const [first, last] = [this.times[0], this.times.at(-1)];
      return last[0] > first[0] ? (1000 * (last[1] - first[1])) / (last[0] - first[0]) : 0;
    }
  }

  const paceWords = (moment) => {
    const kept = moment.kept, wanted = moment.pace;
    const asked = wanted >= 0.999 ? "true speed" : `${(1 / wanted).toFixed(0)} times slowed`;
    if (kept >= 0.9 * wanted) return `at ${asked}`;
    return `slowed ${(1 / Math.max(kept, 1e-3)).toFixed(1)} times: this machine keeps no more`;
  };

  // What is said where the next moment is long in coming: a pace of earlier moments would be none now.
  const stillWords = (waited) => (waited < 1500 ? ""
    : `stands still since ${Math.floor(waited / 1000)} s: what touches here is slow to compute, it goes on by itself`);

  /** @type {Component} */
  const SnapRehearsal = {
    emits: ["hand", "end", "pace"],
    props: { limit: String, tone: Boolean },
    data: () => ({ held: true, time: 0, speed: "", starting: true, keeping: false, pace: 1, moments: -1, heard: 0 }),
    methods: {
      take(news, updates) {
        this.keeping = news.state === "keeping";
        this.starting = !news.moment;
        if (!news.moment) return;
        this.held = news.moment.held;
        this.time = news.moment.time_s;
        const now = performance.now();
        if (news.moments !== this.moments) Object.assign(this, { moments: news.moments, heard: now });
        this.speed = stillWords(now - this.heard) || `${Math.round(updates)} updates a second, ${paceWords(news.moment)}`;
      },
    },
    template: `<div class="live" role="group" aria-label="rehearsal">
      <template v-if="!starting">
        <button type="button" class="release" @click="$emit('hand', !held)" :disabled="keeping" title="open or close the hand (R)">{{ held ? "Let go" : "Grip again" }}</button>
        <button type="button" @click="$emit('end')" :disabled="keeping" title="end, and keep what was rehearsed as a run (Escape)">End, keep the run</button>
        <label class="beside"><span>pace</span><select v-model.number="pace" @change="$emit('pace', pace)" :disabled="keeping">
          <option :value="1">true speed</option><option :value="0.5">2 × slowed</option><option :value="0.25">4 × slowed</option><option :value="0.1">10 × slowed</option></select></label>
      </template>
      <span class="clock">{{ keeping ? "keeping the run …" : starting ? "getting the hand ready …" : time.toFixed(2) + " s · " + speed }}</span></div>`,
  };

  /** @type {Component} */
  const SnapHandFigures = {
    components: window.snapsim.parts,
    data: () => ({ m: null }),
    computed: {
      // An amount of the way ahead: null where none was seen up to the magnet.
      lifts() { return this.ahead(this.m.lifts_in_m, "its pull never beats its weight, straight along the pull"); },
      beats() { return this.ahead(this.m.beats_in_m, "not seen up to the magnet, straight along the pull"); },
      spent() { return `${Math.round(100 * Math.min(this.m.used, 1))} % of ${said(this.m.limit_N, "N")}`; },
    },
    methods: {
      said,
      take(news) { this.m = news.moment; },
      ahead(far, none) { return this.m.close_to ? `not known so close to ${this.m.close_to}` : far === null ? none : far <= 0 ? "here and now" : `${said(far, "m")} nearer`; },
    },
    template: `<div class="handfigures" v-if="m">
      <snap-figure words="force of the hand" :value="Math.hypot(...m.force_N)" unit="N" :note="m.held ? spent : 'it is open'"></snap-figure>
      <snap-figure words="magnetic pull" :value="m.pull_N" unit="N" :note="'weight ' + said(m.weight_N, 'N')"></snap-figure>
      <meter min="0" max="1" low="0.5" high="0.8" optimum="0" :value="Math.min(m.used, 1)" aria-label="share of the hand's force"></meter>
      <dl class="margins"><dt>let go, it rises by itself</dt><dd>{{ lifts }}</dd><dt>it is torn from the hand</dt><dd>{{ beats }}</dd></dl></div>`,
  };

  Object.assign(window.snapsim, { Warner, Counter, dangerOf, DANGERS, paceWords });
  Object.assign(window.snapsim.parts, { SnapRehearsal, SnapHandFigures });
})();
