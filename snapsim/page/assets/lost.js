// What stands on the page while its connection is broken: it tries again by itself, says only what
// is known, and loads the page again once the server answers; scene and runs are kept there.
(() => {
  "use strict";
  const WAITS = [0.3, 0.6, 1.2, 2.5, 5, 8]; // s between attempts, the last one over and over
  const SILENT_AFTER = 4;

  /** @type {{ [name: string]: [string, string] }} */
  const WORDS = {
    trying: ["The connection broke", "Trying again. The server keeps the scene and its runs as long as it runs."],
    silent: ["The server does not answer", "It may have been ended, or stand still for a while; trying again every few seconds. If it was ended, runs that were not saved went with it: start snapsim page again and open the address that it prints."],
    other: ["Another server answers here", "The one that this page belonged to has ended, and runs that were not saved with it. Open the address that the new one printed."],
  };

  // One attempt after another until the server answers. given: ask() -> status, throws where nobody
  // answers; wait(s); tell(state); again(): load the page again; over() -> the page is gone.
  async function reconnect({ ask, wait, tell, again, over }) {
    for (let tries = 0; !over(); tries++) {
      await wait(WAITS[Math.min(tries, WAITS.length - 1)]);
      let status = 0;
      try {
        status = await ask();
      } catch { // nobody there
      }
      if (over()) return;
      if (status === 200) {
        again();
        return;
      }
      if (status === 403 || status === 404) {
        tell("other");
        return;
      }
      tell(tries + 1 < SILENT_AFTER ? "trying" : "silent");
    }
  }

  /** @type {Component} */
  const SnapLost = {
    data: () => ({ state: "trying", gone: false }),
    computed: {
      words() { return WORDS[this.state]; },
      unsaved() { return Boolean(window.snapsim.unsaved); },
    },
    mounted() {
      reconnect({
        ask: async () => (await fetch(location.href, { method: "HEAD", cache: "no-store" })).status,
        wait: (s) => new Promise((done) => { setTimeout(done, 1e3 * s); }),
        tell: (state) => { this.state = state; },
        again: () => location.reload(),
        over: () => this.gone,
      });
    },
    beforeUnmount() { this.gone = true; },
    methods: {
      // What this window still holds of a scene that was changed and not saved.
      save() {
        const { text, file } = window.snapsim.unsaved || { text: "", file: "scene" };
        const link = document.createElement("a"), name = file.replace(/^.*[\\/]/, "").replace(/\.[^.]*$/, "") || "scene";
        Object.assign(link, { href: URL.createObjectURL(new Blob([text])), download: `${name}.toml` });
        link.click();
      },
    },
    template: `<div class="lost" role="alert"><h1>{{ words[0] }}</h1><p>{{ words[1] }}</p>
      <p v-if="unsaved"><button type="button" @click="save">Save the scene as it was (.toml)</button></p></div>`,
  };

  Object.assign(window.snapsim, { SnapLost, reconnect });
})();
