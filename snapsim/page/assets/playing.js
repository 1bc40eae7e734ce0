// A run to be played: unpacked arrays, the state at any time, and the clock that runs along.
(() => {
  "use strict";
  const { floats, bytes } = window.snapsim;
  const { hermite, turned } = window.snapsim.math;
  const doubles = (text) => new Float64Array(bytes(text).buffer);

  // Frames that share a time stand just before and just after an impact: never mixed.
  class Recording {
    /** @param {Packed} packed */
    constructor(packed) {
      Object.assign(this, packed);
      this.time = doubles(packed.time);
      this.bodies = packed.bodies.map((b) => ({
        index: b.index, name: b.name, position: floats(b.position),
        quaternion: floats(b.quaternion), velocity: floats(b.velocity),
        spin: floats(b.spin), force: floats(b.force), torque: floats(b.torque),
        speed: floats(b.speed), weight_N: b.weight_N,
      }));
      this.kinetic = floats(packed.kinetic);
      this.gap = floats(packed.gap);
      this.end = this.time[this.time.length - 1];
      this.follow(packed.part);
    }

    // Whose force, torque, speed and path are shown from now on; where it does not move, the first.
    /** @param {number} index of a body */
    follow(index) {
      const body = this.bodies.find((b) => b.index === index) || this.bodies[0];
      this.part = body.index;
      this.partName = body.name;
      this.force = body.force;
      this.torque = body.torque;
      this.speed = body.speed;
      this.weight_N = body.weight_N;
      this.pulls = null;
    }

    // The last stored frame at or before t, and the share of the way to the next.
    /** @param {number} t */
    frame(t) {
      let low = 0, high = this.time.length - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (this.time[middle] <= t) low = middle;
        else high = middle - 1;
      }
      const next = Math.min(low + 1, this.time.length - 1);
      const span = this.time[next] - this.time[low];
      const share = span > 0 ? Math.min(Math.max((t - this.time[low]) / span, 0), 1) : 0;
      return { low, next, share, span };
    }

    // Places and turns that match speeds and spins at both frames.
    /** @param {number} t */
    poses(t) {
      const { low, next, share, span } = this.frame(t);
      const at = (array, size) =>
        [low, next].map((k) => Array.from(array.subarray(size * k, size * k + size)));
      return this.bodies.map((body) => {
        const [p0, p1] = at(body.position, 3), [v0, v1] = at(body.velocity, 3);
        const [q0, q1] = at(body.quaternion, 4), [w0, w1] = at(body.spin, 3);
        return {
          index: body.index,
          position: hermite(p0, p1, v0, v1, span, share),
          quaternion: turned(q0, q1, w0, w1, span, share),
        };
      });
    }

    // Linear between frames: speed [m/s], kinetic energy [J], gap [m], force [N] of the part.
    /** @param {number} t */
    figures(t) {
      const { low, next, share: s } = this.frame(t);
      const mix = (array, size = 1, k = 0) =>
        s === 0 ? array[size * low + k]
          : (1 - s) * array[size * low + k] + s * array[size * next + k];
      return {
        time: t, speed: mix(this.speed), kinetic: mix(this.kinetic), gap: mix(this.gap),
        force: [0, 1, 2].map((k) => mix(this.force, 3, k)),
        torque: [0, 1, 2].map((k) => mix(this.torque, 3, k)),
      };
    }

    // Length of the magnetic force [N] at each stored frame.
    pull() {
      if (!this.pulls) {
        const f = this.force;
        this.pulls = Float32Array.from(this.time, (_, k) => Math.hypot(f[3 * k], f[3 * k + 1], f[3 * k + 2]));
      }
      return this.pulls;
    }

    // The part's path as points, at most `most`.
    path(most = 400) {
      const body = this.bodies.find((b) => b.index === this.part);
      const count = this.time.length, step = Math.max(1, Math.floor(count / most)), points = [];
      for (let k = 0; k < count; k += step)
        points.push(Array.from(body.position.subarray(3 * k, 3 * k + 3)));
      points.push(Array.from(body.position.subarray(3 * count - 3, 3 * count)));
      return points;
    }
  }

  // Calls `tick(time)` on every frame of the screen while it plays.
  class Clock {
    /**
     * @param {(time: number) => void} tick
     * @param {() => void} ended
     */
    constructor(tick, ended) {
      this.tick = tick;
      this.ended = ended;
      this.time = 0;
      this.end = 1;
      this.pace = 1;
      this.playing = false;
    }
    play() {
      if (this.playing) return;
      if (this.time >= this.end) this.time = 0;
      this.playing = true;
      let last = performance.now();
      const step = (now) => {
        if (!this.playing) return;
        this.time = Math.min(this.end, this.time + (this.pace * Math.max(0, now - last)) / 1000);
        last = now;
        this.tick(this.time);
        if (this.time >= this.end) {
          this.playing = false;
          this.ended();
        } else requestAnimationFrame(step);
      };
      requestAnimationFrame(step);
    }
    pause() {
      this.playing = false;
    }
  }

  Object.assign(window.snapsim, { Recording, Clock });
})();
