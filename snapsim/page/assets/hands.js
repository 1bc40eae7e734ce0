// Mouse, pen and fingers on the stage: orbit, pan and zoom; take hold of the part, move and tilt it.
(() => {
  "use strict";
  const { add, sub, scale, dot, multiply, about, normalised } = window.snapsim.math;
  const TURN = 0.45; // degrees a pixel

  class Hands {
    // choices: { part() -> index that may be moved or -1, tool() -> "move"|"tilt",
    //            axis() -> ""|"x"|"y"|"z", moved(position, quaternion, event), held(now),
    //            other(index): a body was touched that is not the part,
    //            sized(index): a body was touched while sizes are drawn }
    /**
     * @param {Stage} view
     * @param {HandChoices} choices
     */
    constructor(view, choices) {
      this.view = view;
      this.choices = choices;
      /** @type {Map<number, [number, number]>} */
      this.fingers = new Map();
      /** @type {any} */ // null while nothing is held
      this.grip = null;
      const canvas = view.canvas;
      canvas.style.touchAction = "none";
      canvas.addEventListener("pointerdown", (e) => this.down(e));
      canvas.addEventListener("pointermove", (e) => this.moved(e));
      for (const name of ["pointerup", "pointercancel"])
        canvas.addEventListener(name, (e) => this.up(e));
      canvas.addEventListener("wheel", (e) => {
        e.preventDefault();
        view.zoom(Math.exp(0.0012 * e.deltaY));
      }, { passive: false });
      canvas.addEventListener("contextmenu", (e) => e.preventDefault());
      canvas.addEventListener("dblclick", () => view.reset());
    }

    /**
     * @param {MouseEvent} event
     * @returns {[number, number]} where on the canvas [px]
     */
    at(event) {
      const box = this.view.canvas.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    }

    down(event) {
      const at = this.at(event), part = this.choices.part();
      this.view.canvas.setPointerCapture(event.pointerId);
      this.fingers.set(event.pointerId, at);
      if (this.fingers.size > 1) return;
      if (this.choices.tool() === "size" && event.button === 0 && this.choices.sized) {
        const touched = this.view.pick(...at);
        if (touched) this.choices.sized(touched.index);
        return;
      }
      const hit = part >= 0 && event.button === 0 ? this.view.pick(...at) : null;
      if (hit && hit.index !== part) this.choices.other(hit.index);
      if (!hit || hit.index !== part) return;
      const { position, quaternion } = this.base(part);
      this.grip = { part, id: event.pointerId, point: hit.point, position, quaternion, at };
      this.choices.held(true);
    }

    moved(event) {
      const before = this.fingers.get(event.pointerId), now = this.at(event);
      if (!before) {
        this.hover(now, event);
        return;
      }
      this.fingers.set(event.pointerId, now);
      const [dx, dy] = [now[0] - before[0], now[1] - before[1]];
      if (this.grip && this.fingers.size > 1) this.second(event, dx, dy);
      else if (this.grip) this.carry(event, now, dx, dy);
      else if (this.fingers.size === 2) this.pinch(event, before, now);
      else if (event.buttons & 6 || event.ctrlKey || event.shiftKey) this.view.pan(dx, dy);
      else this.view.orbit(dx, dy);
    }

    up(event) {
      this.fingers.delete(event.pointerId);
      if (this.grip && this.grip.id === event.pointerId) {
        this.grip = null;
        this.choices.held(false);
      }
    }

    /**
     * @param {[number, number]} at
     * @param {PointerEvent} event
     */
    hover(at, event) {
      if (event.pointerType !== "mouse") return;
      const part = this.choices.part();
      const hit = part >= 0 ? this.view.pick(...at) : null;
      const over = Boolean(hit && hit.index === part);
      this.view.canvas.style.cursor = over ? "grab" : "default";
      if (this.view.marked !== (over ? part : -1)) {
        this.view.marked = over ? part : -1;
        this.view.refresh();
      }
    }

    // One finger or the mouse on the part.
    carry(event, now, dx, dy) {
      const tilt = (this.choices.tool() === "tilt") !== event.shiftKey;
      if (tilt) this.tilt(event, dx, dy);
      else this.move(event, now);
    }

    // A second finger while the first holds the part tilts it; the holding one goes on moving it.
    second(event, dx, dy) {
      if (event.pointerId === this.grip.id) this.move(event, this.at(event));
      else this.tilt(event, dx, dy);
    }

    /**
     * @param {PointerEvent} event
     * @param {[number, number]} now
     */
    move(event, now) {
      const { eye, way } = this.view.ray(...now), { point, position } = this.grip;
      const { back } = this.view.axes(), axis = this.choices.axis();
      let shift;
      if (axis) {
        const n = { x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] }[axis];
        // nearest point of the axis through the grip to the ray
        const w = sub(point, eye), b = dot(n, way), denominator = 1 - b * b;
        if (denominator < 1e-4) return;
        shift = scale(n, (b * dot(w, way) - dot(w, n)) / denominator);
      } else {
        const far = dot(sub(point, eye), back) / dot(way, back);
        shift = sub(add(eye, way, far), point);
      }
      const to = add(position, shift);
      this.tell(event, to, this.base(this.grip.part).quaternion);
    }

    tilt(event, dx, dy) {
      const { position, quaternion } = this.base(this.grip.part);
      const axis = this.choices.axis(), k = (TURN * Math.PI) / 180;
      const { right, up, back } = this.view.axes();
      let turn;
      if (axis) {
        const n = { x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] }[axis];
        // with the hand: about an axis toward the eye like a wheel, else like a ball under a palm
        const toward = dot(n, back);
        const way = Math.abs(toward) > 0.7
          ? -Math.sign(toward) * dx
          : dx * dot(n, up) + dy * dot(n, right);
        turn = about(n, k * way);
      } else turn = multiply(about(up, k * dx), about(right, k * dy));
      const q = normalised(multiply(turn, quaternion));
      // after a tilt a further move starts from here
      this.grip.position = position;
      this.grip.quaternion = q;
      const [x, y] = this.fingers.get(this.grip.id) ?? this.grip.at;
      const { eye, way } = this.view.ray(x, y);
      const far = dot(sub(this.grip.point, eye), back) / dot(way, back);
      this.grip.point = add(eye, way, far);
      this.tell(event, position, q);
    }

    // In a rehearsal the hand is moved, and the part follows as it can.
    wished() { return this.choices.wished ? this.choices.wished() : null; }
    base(part) { return this.wished() || this.view.poses[part]; }

    tell(event, position, quaternion) {
      if (!this.wished()) this.view.put(this.grip.part, position, quaternion);
      this.choices.moved(position, quaternion, event);
    }

    pinch(event, before, now) {
      const other = [...this.fingers].filter(([id]) => id !== event.pointerId)[0][1];
      const apart = (a) => Math.hypot(a[0] - other[0], a[1] - other[1]) || 1;
      this.view.zoom(apart(before) / apart(now));
      this.view.pan((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
    }
  }

  window.snapsim.Hands = Hands;
})();
