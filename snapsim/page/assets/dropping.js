// Files dropped onto the page or opened: a scene is taken, a mesh is sent to the server and its unit
// asked. A small mesh is kept in the browser with the unsaved scene that names it.
(() => {
  "use strict";
  const MESH = /\.(stl|obj|ply)$/i, LARGEST = 100e6, KEPT_BYTES = 2e6;
  const PER_MM = { mm: 1, cm: 10, m: 1000, inch: 25.4 };

  // "80 × 40 × 12 mm" for a size in the file's own numbers.
  function sizeWords(size, unit) {
    const text = (v) => Number((v * PER_MM[unit]).toPrecision(3)).toLocaleString("en", { maximumSignificantDigits: 3, useGrouping: false });
    return `${size.map(text).join(" × ")} mm`;
  }
  const base64 = (buffer) => {
    let text = "";
    for (const byte of new Uint8Array(buffer)) text += String.fromCharCode(byte);
    return btoa(text);
  };

  /** @type {Component} */
  const dropping = {
    data: () => ({ dropOver: false, mesh: null, meshUnit: "", meshes: {} }),
    methods: {
      sizeWords,
      // Dropped anywhere on the page: else the browser would leave the page for the file.
      watchDrops() {
        const files = (event) => event.dataTransfer && [...event.dataTransfer.types].includes("Files");
        document.addEventListener("dragover", (event) => {
          if (!files(event)) return;
          event.preventDefault();
          this.dropOver = true;
        });
        document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) this.dropOver = false; });
        document.addEventListener("drop", (event) => {
          if (!files(event)) return;
          event.preventDefault();
          this.dropOver = false;
          if (event.dataTransfer) this.takeFiles([...event.dataTransfer.files]);
        });
      },
      async takeFiles(files) {
        if (this.mode !== "place") this.place();
        const scene = files.find((f) => /\.toml$/i.test(f.name)), mesh = files.find((f) => MESH.test(f.name));
        if (mesh) await this.sendMesh(mesh);
        else if (scene) await this.change("scene", "open", await scene.text(), scene.name);
        else this.complain("mesh", { error: { key: null, message: `"${files[0] ? files[0].name : ""}" is neither a scene (.toml) nor a mesh (.stl, .obj, .ply)` } });
      },
      async upload(body, name) {
        try {
          const answer = await fetch(`mesh?name=${encodeURIComponent(name)}`, { method: "POST", body });
          return await answer.json();
        } catch {
          return { error: { key: null, message: `"${name}" could not be sent to the server` } };
        }
      },
      async sendMesh(file) {
        const large = file.size > LARGEST;
        const answer = large ? { error: { key: null, message: `"${file.name}" is larger than 100 MB` } } : await this.upload(file, file.name);
        this.complain("mesh", answer);
        if (answer.error) return;
        this.meshBytes = this.meshBytes || {};
        if (file.size < KEPT_BYTES) this.meshBytes[answer.mesh.file] = base64(await file.arrayBuffer());
        Object.assign(this, { mesh: answer.mesh, meshUnit: "" });
        this.speak(`${file.name}: in which unit is it drawn?`);
        this.$nextTick(() => this.$refs.meshask?.querySelector("input").focus());
      },
      async putMesh() {
        if (!this.mesh || !this.meshUnit) return;
        if (!await this.change("mesh", "add_mesh", this.mesh.file, this.meshUnit)) return;
        this.speak(`added ${this.partName}`);
        this.leaveMesh();
      },
      leaveMesh() {
        this.mesh = null;
        this.view.canvas.focus();
      },
      // What the browser keeps of the meshes that the scene names: { name: base64 }.
      keptMeshes() {
        const bytes = this.meshBytes || {};
        const of = Object.entries(this.meshes).map(([name, address]) => [name, bytes[address.replace(/^.*\//, "")]]);
        return Object.fromEntries(of.filter(([, b]) => b));
      },
      async bringMeshes(kept) {
        for (const [name, text] of Object.entries(kept || {})) {
          const body = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
          const answer = await this.upload(body, name);
          if (answer.error) continue; // the scene itself says what it misses
          this.meshBytes = { ...(this.meshBytes || {}), [answer.mesh.file]: text };
          await this.call("know_mesh", answer.mesh.file, name);
        }
      },
    },
  };

  Object.assign(window.snapsim, { dropping, sizeWords });
})();
