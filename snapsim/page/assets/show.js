// Showing a run to an audience, in steps that a presenter's remote control goes through: the scene with
// its note, all of it at true speed, the blow slowed, what it came to.
(() => {
  "use strict";
  const BEFORE = 0.12, AFTER = 0.1, SLOW = 0.05, CALM = 0.25;

  // Each step plays from `from` to `to` [s] at a pace, none where it stands; `words` are its caption.
  function showSteps(record, note) {
    const blow = record.blow, end = record.end, [first, ...rest] = record.says;
    const slow = blow
      ? { name: `${1 / SLOW} times slowed`, from: Math.max(0, blow.time - BEFORE), to: Math.min(end, blow.time + AFTER), pace: SLOW, words: "" }
      : { name: `${1 / CALM} times slowed`, from: 0, to: end, pace: CALM, words: "" };
    return [
      { name: "the scene", from: 0, to: 0, pace: 0, words: note },
      { name: "true speed", from: 0, to: end, pace: 1, words: "" },
      slow,
      { name: "what it came to", from: end, to: end, pace: 0, words: [record.warning ? "" : first, ...rest].filter(Boolean).slice(0, 2).join(" ") },
    ];
  }
  // Which way a key goes: presenters' remote controls send Page Up and Page Down.
  const SHOW_KEYS = {
    PageDown: 1, ArrowRight: 1, ArrowDown: 1, " ": 1, Enter: 1, PageUp: -1, ArrowLeft: -1, ArrowUp: -1, Backspace: -1,
  };

  /** @type {Component} */
  const SnapShow = {
    props: { title: String, steps: Array, at: Number, time: Number, warning: String, announced: String },
    emits: ["step", "leave"],
    computed: {
      step() { return this.steps[this.at]; },
      caption() { return this.announced && this.step.pace ? this.announced : this.step.words; },
    },
    template: `<div class="overshow">
      <p class="showtitle">{{ title }} <span class="mark">{{ step.name }}</span></p>
      <p v-if="warning" class="announce bad" role="alert">{{ warning }}</p>
      <p v-if="caption" class="caption" aria-live="polite">{{ caption }}</p>
      <div class="showkeys"><button type="button" @click="$emit('step', -1)" :disabled="at === 0" title="back (Page Up)">‹</button>
        <span class="clock">{{ time.toFixed(3) }} s</span>
        <button type="button" @click="$emit('step', 1)" :disabled="at === steps.length - 1" title="on (Page Down)">›</button>
        <button type="button" @click="$emit('leave')" title="end the show (Escape)">End the show</button></div></div>`,
  };

  Object.assign(window.snapsim, { showSteps, SHOW_KEYS });
  Object.assign(window.snapsim.parts, { SnapShow });
})();
