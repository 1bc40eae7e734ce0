// A small WebGL2 view of a stage: bodies moved by pose, thick lines, arrows, one soft shadow.
// Lengths in m, quaternions (w, x, y, z) body to world, colours "#RRGGBB". Needs nothing else.
(() => {
  "use strict";

  // --- vectors, quaternions, matrices (column-major) ------------------------------------------
  /** @type {Calculus["add"]} */
  const add = (a, b, s = 1) => [a[0] + s * b[0], a[1] + s * b[1], a[2] + s * b[2]];
  /** @type {Calculus["sub"]} */
  const sub = (a, b) => add(a, b, -1);
  /** @type {Calculus["scale"]} */
  const scale = (a, s) => [a[0] * s, a[1] * s, a[2] * s];
  /** @type {Calculus["dot"]} */
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  /** @type {Calculus["cross"]} */
  const cross = (a, b) => [
    a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0],
  ];
  /** @type {Calculus["length"]} */
  const length = (a) => Math.hypot(a[0], a[1], a[2]);
  /** @type {Calculus["unit"]} */
  const unit = (a) => scale(a, 1 / (length(a) || 1));
  /** @type {Calculus["multiply"]} */
  const multiply = (p, q) => [
    p[0] * q[0] - p[1] * q[1] - p[2] * q[2] - p[3] * q[3],
    p[0] * q[1] + p[1] * q[0] + p[2] * q[3] - p[3] * q[2],
    p[0] * q[2] - p[1] * q[3] + p[2] * q[0] + p[3] * q[1],
    p[0] * q[3] + p[1] * q[2] - p[2] * q[1] + p[3] * q[0],
  ];
  /** @type {Calculus["about"]} */
  const about = (axis, angle) => {
    const n = scale(unit(axis), Math.sin(angle / 2));
    return [Math.cos(angle / 2), n[0], n[1], n[2]];
  };
  /** @type {Calculus["normalised"]} */
  const normalised = (q) => {
    const l = Math.hypot(...q) || 1;
    return q.map((c) => c / l);
  };
  /** @type {Calculus["rotate"]} */
  const rotate = (q, v) => {
    const u = [q[1], q[2], q[3]];
    const t = scale(cross(u, v), 2);
    return add(add(v, t, q[0]), cross(u, t));
  };
  // Places and turns between frames, as snapsim/numerics/between_frames.py has them.
  /** @type {Calculus["hermite"]} */
  const hermite = (p0, p1, v0, v1, span, s) => {
    const a = s * s * (3 - 2 * s), b = span * s * (1 - s) ** 2, c = span * s * s * (1 - s);
    return p0.map((p, k) => p + a * (p1[k] - p) + b * v0[k] - c * v1[k]);
  };
  const APART = 0.5 * Math.PI;
  /** @type {(q: Quaternion) => Vector} */
  const rotationVector = (q) => {
    const [w, ...v] = q[0] < 0 ? q.map((c) => -c) : q, sine = length(v);
    return scale(v, sine < 1e-12 ? 2 : 2 * Math.atan2(sine, w) / sine);
  };
  /** @type {(phi: Vector, w: Vector) => Vector} */
  const inverseLeftJacobian = (phi, w) => {
    const a = length(phi), crossed = cross(phi, w);
    const c = a < 1e-3 ? 1 / 12 : 1 / a ** 2 - (1 + Math.cos(a)) / (2 * a * Math.sin(a));
    return add(add(w, crossed, -0.5), cross(phi, crossed), c);
  };
  /** @type {Calculus["turned"]} */
  const turned = (q0, q1, w0, w1, span, s) => {
    const whole = rotationVector(multiply(q1, [q0[0], -q0[1], -q0[2], -q0[3]]));
    const astray = length(sub(scale(add(w0, w1), 0.5 * span), whole)) > APART;
    const way = astray ? scale(whole, s)
      : hermite([0, 0, 0], whole, w0, inverseLeftJacobian(whole, w1), span, s);
    return normalised(multiply(about(way, length(way)), q0));
  };
  /** @type {(p: Vector, q: Quaternion) => Float32Array} */
  const poseMatrix = (p, q) => {
    const [x, y, z] = [[1, 0, 0], [0, 1, 0], [0, 0, 1]].map((e) => rotate(q, e));
    return new Float32Array([...x, 0, ...y, 0, ...z, 0, ...p, 1]);
  };
  // The same with body axes longer by so much; none given, as it is.
  const stretched = (matrix, by) => (by ? matrix.map((c, k) => (k < 12 ? c * by[k >> 2] : c)) : matrix);
  /** @type {(a: Float32Array, b: Float32Array) => Float32Array} */
  const product = (a, b) => {
    const c = new Float32Array(16);
    for (let j = 0; j < 4; j++)
      for (let i = 0; i < 4; i++)
        for (let k = 0; k < 4; k++) c[4 * j + i] += a[4 * k + i] * b[4 * j + k];
    return c;
  };
  const viewMatrix = (right, up, back, eye) => new Float32Array([
    right[0], up[0], back[0], 0, right[1], up[1], back[1], 0, right[2], up[2], back[2], 0,
    -dot(right, eye), -dot(up, eye), -dot(back, eye), 1,
  ]);
  const perspective = (tx, ty, near, far) => new Float32Array([
    1 / tx, 0, 0, 0, 0, 1 / ty, 0, 0, 0, 0, -(far + near) / (far - near), -1,
    0, 0, (-2 * far * near) / (far - near), 0,
  ]);
  const orthographic = (half, near, far) => new Float32Array([
    1 / half, 0, 0, 0, 0, 1 / half, 0, 0, 0, 0, -2 / (far - near), 0,
    0, 0, -(far + near) / (far - near), 1,
  ]);
  /** @type {(text: string) => Vector} */
  const rgb = (text) => [1, 3, 5].map((k) => parseInt(text.slice(k, k + 2), 16) / 255);
  const IDENTITY = poseMatrix([0, 0, 0], [1, 0, 0, 0]);

  /** @type {(text: string) => Uint8Array} */
  const bytes = (text) => {
    const raw = atob(text);
    const out = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k++) out[k] = raw.charCodeAt(k);
    return out;
  };
  /** @type {(text: string) => Float32Array} */
  const floats = (text) => new Float32Array(bytes(text).buffer);
  /** @type {(text: string) => Uint32Array} */
  const indices = (text) => new Uint32Array(bytes(text).buffer);

  // --- shaders --------------------------------------------------------------------------------
  const SOLID = [`#version 300 es
    in vec3 position; in vec3 normal; in vec3 colour;
    uniform mat4 model, camera, light; uniform float swell;
    out vec3 vNormal; out vec3 vColour; out vec3 vWorld; out vec4 vLight;
    void main() {
      vec4 world = model * vec4(position + swell * normal, 1.0);
      vNormal = mat3(model) * normal; vColour = colour; vWorld = world.xyz;
      vLight = light * world;
      gl_Position = camera * world;
    }`, `#version 300 es
    precision highp float; precision highp sampler2DShadow;
    in vec3 vNormal; in vec3 vColour; in vec3 vWorld; in vec4 vLight;
    uniform vec3 eye, right, up, back, tint; uniform float flat_, tinted, gloss, sharpness, opacity;
    uniform float level, gridStep, gridReach, dim, fading; uniform vec3 gridCentre;
    uniform sampler2DShadow shade; uniform float shadows;
    out vec4 pixel;
    vec3 linear(vec3 c) { return pow(c, vec3(2.2)); }
    float lit() {
      vec3 s = vLight.xyz * 0.5 + 0.5;
      if (shadows < 0.5 || any(lessThan(s, vec3(0.0))) || any(greaterThan(s, vec3(1.0)))) return 1.0;
      float sum = 0.0;
      for (int i = -1; i <= 1; i++) for (int j = -1; j <= 1; j++)
        sum += texture(shade, vec3(s.xy + vec2(i, j) * 0.0032, s.z - 0.004));
      return sum / 9.0;
    }
    float grid() {
      vec2 g = vWorld.xy / gridStep;
      vec2 w = fwidth(g);
      vec2 d = abs(fract(g - 0.5) - 0.5) / max(w, vec2(1e-6));
      float line = 1.0 - min(min(d.x, d.y), 1.0);
      float far = 1.0 - smoothstep(0.3, 1.0, length(vWorld - gridCentre) / gridReach);
      return line * far * 0.20 * (1.0 - smoothstep(0.2, 0.6, max(w.x, w.y)));
    }
    void lamp(vec3 way, vec3 colour, float strength, vec3 n, vec3 seen, float shadow,
              inout vec3 diffuse, inout float shine) {
      vec3 l = normalize(right * way.x + up * way.y + back * way.z);
      diffuse += colour * (strength * max(dot(n, l), 0.0) * shadow);
      if (gloss > 0.0) shine += strength * gloss * pow(max(dot(n, normalize(l + seen)), 0.0), sharpness) * shadow;
    }
    void main() {
      vec3 base = mix(vColour, tint, tinted);
      if (flat_ > 0.5) { pixel = vec4(base * opacity, opacity); return; }
      vec3 n = normalize(vNormal), seen = normalize(eye - vWorld);
      if (dot(n, seen) < 0.0) n = -n;
      float shadow = n.z > 0.25 ? mix(1.0, mix(0.4, 1.0, lit()), smoothstep(0.25, 0.7, n.z)) : 1.0;
      vec3 diffuse = vec3(0.20) * (0.65 + 0.35 * n.z);
      float shine = 0.0;
      lamp(vec3(-0.70, 1.00, 0.75), vec3(1.0, 0.945, 0.863), 0.74, n, seen, shadow, diffuse, shine);
      lamp(vec3(0.95, 0.10, 0.80), vec3(0.812, 0.878, 0.941), 0.44, n, seen, shadow, diffuse, shine);
      lamp(vec3(0.30, -0.90, 0.55), vec3(0.863, 0.902, 0.933), 0.34, n, seen, 1.0, diffuse, shine);
      lamp(vec3(0.20, 0.75, -1.00), vec3(0.902, 0.941, 0.973), 0.34, n, seen, 1.0, diffuse, shine);
      vec3 c = base * min(diffuse, vec3(1.25)) + vec3(shine) * 0.5;
      if (abs(vWorld.z - level) < 1e-4 && n.z > 0.99) {
        c += vec3(grid());
        float far = smoothstep(0.5, 1.6, length(vWorld - gridCentre) / gridReach);
        c *= 1.0 - dim * far;
      }
      float there = fading > 0.5
        ? opacity * (1.0 - smoothstep(0.6, 1.9, length(vWorld - gridCentre) / gridReach)) : opacity;
      pixel = vec4(c * there, there);
    }`];
  const DEPTH = [`#version 300 es
    in vec3 position; uniform mat4 model, light;
    void main() { gl_Position = light * model * vec4(position, 1.0); }`, `#version 300 es
    precision mediump float; void main() {}`];
  const LINE = [`#version 300 es
    in vec2 corner; in vec3 from; in vec3 to;
    uniform mat4 model, camera; uniform vec2 size; uniform float width, nearer;
    void main() {
      vec4 a = camera * model * vec4(from, 1.0), b = camera * model * vec4(to, 1.0);
      vec2 along = (b.xy / b.w - a.xy / a.w) * size;
      float l = max(length(along), 1e-5);
      vec2 across = vec2(-along.y, along.x) / l;
      vec4 p = corner.x < 0.5 ? a : b;
      vec2 out_ = across * corner.y + along / l * (corner.x * 2.0 - 1.0) * 0.5;
      p.xy += out_ * width / size * p.w;
      p.z -= nearer * p.w;
      gl_Position = p;
    }`, `#version 300 es
    precision mediump float; uniform vec4 colour; out vec4 pixel;
    void main() { pixel = vec4(colour.rgb * colour.a, colour.a); }`];
  const BACKDROP = [`#version 300 es
    in vec2 corner; out vec2 at;
    void main() { at = corner; gl_Position = vec4(corner, 0.9999, 1.0); }`, `#version 300 es
    precision highp float; in vec2 at; uniform vec3 low, high; out vec4 pixel;
    void main() {
      float x = at.x / 0.75, y = (at.y - 0.25) / 0.8;
      float noise = fract(sin(dot(gl_FragCoord.xy, vec2(12.9898, 78.233))) * 43758.5) - 0.5;
      pixel = vec4(mix(low, high, exp(-(x * x + y * y))) + noise / 255.0, 1.0);
    }`];

  /**
   * @param {any} gl WebGL 2, which hands out null only once it is lost
   * @param {string[]} shaders vertex and fragment
   */
  function program(gl, [vertex, fragment]) {
    const made = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS))
        throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(made, shader);
    }
    ["position", "normal", "colour", "corner", "from", "to"].forEach((name, k) =>
      gl.bindAttribLocation(made, k, name));
    gl.linkProgram(made);
    if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
    const places = {};
    const count = gl.getProgramParameter(made, gl.ACTIVE_UNIFORMS);
    for (let k = 0; k < count; k++) {
      const name = gl.getActiveUniform(made, k).name;
      places[name] = gl.getUniformLocation(made, name);
    }
    return { made, places };
  }

  // --- meshes ---------------------------------------------------------------------------------
  function mesh(gl, positions, normals, colours, order) {
    const array = gl.createVertexArray(), buffers = [];
    gl.bindVertexArray(array);
    const buffer = () => buffers[buffers.push(gl.createBuffer()) - 1];
    const put = (place, data, size, kind, unitRange) => {
      gl.bindBuffer(gl.ARRAY_BUFFER, buffer());
      gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
      gl.enableVertexAttribArray(place);
      gl.vertexAttribPointer(place, size, kind, unitRange, 0, 0);
    };
    put(0, positions, 3, gl.FLOAT, false);
    if (normals) put(1, normals, 3, gl.FLOAT, false);
    if (colours) put(2, colours, 3, gl.UNSIGNED_BYTE, true);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, buffer());
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, order, gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    return { array, buffers, count: order.length };
  }
  function drop(gl, made) {
    if (!made) return;
    gl.deleteVertexArray(made.array);
    for (const buffer of made.buffers) gl.deleteBuffer(buffer);
  }
  function lines(gl, segments) {
    const array = gl.createVertexArray(), buffers = [gl.createBuffer(), gl.createBuffer()];
    gl.bindVertexArray(array);
    gl.bindBuffer(gl.ARRAY_BUFFER, buffers[0]);
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([0, -1, 1, -1, 0, 1, 1, 1]), gl.STATIC_DRAW);
    gl.enableVertexAttribArray(3);
    gl.vertexAttribPointer(3, 2, gl.FLOAT, false, 0, 0);
    gl.bindBuffer(gl.ARRAY_BUFFER, buffers[1]);
    gl.bufferData(gl.ARRAY_BUFFER, segments, gl.DYNAMIC_DRAW);
    for (const [place, offset] of [[4, 0], [5, 12]]) {
      gl.enableVertexAttribArray(place);
      gl.vertexAttribPointer(place, 3, gl.FLOAT, false, 24, offset);
      gl.vertexAttribDivisor(place, 1);
    }
    gl.bindVertexArray(null);
    return { array, buffers, count: segments.length / 6 };
  }
  // A closed tube of radii along a path, as positions, normals, order: arrows and arcs.
  function tube(path, radii, sides = 20) {
    const positions = [], normals = [], order = [];
    path.forEach((p, k) => {
      const ahead = path[Math.min(k + 1, path.length - 1)], behind = path[Math.max(k - 1, 0)];
      const along = unit(sub(ahead, behind));
      const least = [0, 1, 2].map((i) => Math.abs(along[i]));
      const e = [0, 0, 0];
      e[least.indexOf(Math.min(...least))] = 1;
      const u = unit(cross(along, e)), v = cross(along, u);
      for (let s = 0; s < sides; s++) {
        const a = (2 * Math.PI * s) / sides;
        const n = add(scale(u, Math.cos(a)), v, Math.sin(a));
        positions.push(...add(p, n, radii[k]));
        normals.push(...n);
        if (k) {
          const i = k * sides + s, j = k * sides + ((s + 1) % sides);
          order.push(i - sides, j - sides, j, i - sides, j, i);
        }
      }
    });
    return { positions, normals, order };
  }
  // Doubled stations make sharp rims: shaft, shoulder, tip.
  function arrowPath(points, thick) {
    const last = points.length - 1;
    const head = 3.2 * thick;
    const way = unit(sub(points[last], points[last - 1]));
    const neck = add(points[last], way, -head);
    const path = [points[0], ...points.slice(0, last), neck, neck, points[last]];
    const radii = [1e-6, ...points.slice(0, last).map(() => thick / 2), thick / 2, 1.3 * thick, 1e-6];
    return [path, radii];
  }

  // --- the view -------------------------------------------------------------------------------
  const FIELD = Math.tan((13 * Math.PI) / 180);

  class StageView {
    constructor(canvas) {
      this.canvas = canvas;
      const gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
      if (!gl) throw new Error("this browser has no WebGL2, which the 3-D picture needs");
      this.gl = gl;
      this.programs = {
        solid: program(gl, SOLID), depth: program(gl, DEPTH),
        line: program(gl, LINE), backdrop: program(gl, BACKDROP),
      };
      this.sheet = this._sheet();
      /** @type {any} */ // made below, and anew with each scene
      this.shadow = this.floor = this.joined = this._set = null;
      this._shadowMap();
      this.bodies = []; this.poses = []; this.ghosts = new Map();
      this.arrows = new Map(); this.trails = new Map(); this.joints = []; this.parted = new Set(); this.marked = -1; this.alarmed = -1;
      this.colours = { low: "#0A0E13", high: "#3A4D5A", dim: 0.88, edge: "#10151A", rim: "#F2F6F5" };
      this.camera = { target: [0, 0, 0], distance: 1, azimuth: -1.1, elevation: 0.35 };
      this.centre = [0, 0, 0]; this.size = 0.3; this.level = 0;
      /** @type {any} */ // the camera of the whole stage, once there is one
      this.home = null;
      this.drawn = 0; this._due = false; this.onframe = null;
      this.costs = []; this.lively = false; // while moved, where slow, drawn in fewer dots
      if (typeof ResizeObserver !== "undefined")
        new ResizeObserver(() => this.refresh()).observe(canvas);
    }

    _sheet() {
      const gl = this.gl, array = gl.createVertexArray();
      gl.bindVertexArray(array);
      gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
      gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([-1, -1, 1, -1, -1, 1, 1, 1]), gl.STATIC_DRAW);
      gl.enableVertexAttribArray(3);
      gl.vertexAttribPointer(3, 2, gl.FLOAT, false, 0, 0);
      gl.bindVertexArray(null);
      return array;
    }

    _shadowMap() {
      const gl = this.gl, n = 1024;
      const texture = gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, texture);
      gl.texStorage2D(gl.TEXTURE_2D, 1, gl.DEPTH_COMPONENT24, n, n);
      for (const [name, value] of [
        [gl.TEXTURE_MIN_FILTER, gl.LINEAR], [gl.TEXTURE_MAG_FILTER, gl.LINEAR],
        [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE],
        [gl.TEXTURE_COMPARE_MODE, gl.COMPARE_REF_TO_TEXTURE],
      ]) gl.texParameteri(gl.TEXTURE_2D, name, value);
      const frame = gl.createFramebuffer();
      gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
      gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.DEPTH_ATTACHMENT, gl.TEXTURE_2D, texture, 0);
      gl.bindFramebuffer(gl.FRAMEBUFFER, null);
      this.shadow = { texture, frame, n };
    }

    // scene: what `scene_view` of the server makes.
    show(scene) {
      const gl = this.gl, first = !this.home;
      Object.assign(this.colours, scene.colours); // of arrows, trails, lines
      for (const body of this.bodies)
        for (const made of [body.solid, body.edges, body.hull]) drop(gl, made);
      for (const kept of [this.arrows, this.trails])
        for (const made of kept.values()) drop(gl, made);
      for (const g of this.ghosts.values()) drop(gl, g.own);
      drop(gl, this.floor);
      this.bodies = scene.bodies.map((b) => {
        const positions = floats(b.mesh.positions), order = indices(b.mesh.order);
        return {
          name: b.name, fixed: b.fixed, gloss: b.gloss, sharpness: b.sharpness,
          opacity: b.opacity, positions, order, size: b.size,
          solid: mesh(gl, positions, floats(b.mesh.normals), bytes(b.mesh.colours), order),
          edges: lines(gl, floats(b.edges)),
          hull: b.hull ? mesh(gl, floats(b.hull.positions), floats(b.hull.normals), null, indices(b.hull.order)) : null,
        };
      });
      this.poses = scene.bodies.map((b) => ({ position: b.position, quaternion: b.quaternion }));
      this.centre = scene.centre; this.size = scene.size; this.level = scene.level;
      this.grid = scene.grid;
      this.floor = scene.floor ? this._floor(scene.floor) : null;
      this.home = {
        target: scene.centre, distance: scene.distance,
        azimuth: scene.azimuth, elevation: scene.elevation,
      };
      drop(gl, this.joined);
      for (const joint of this.joints) for (const solid of joint.solids) drop(gl, solid.made);
      this.joints = (scene.joints || []).map((joint) => ({
        ...joint,
        solids: joint.solids.map(({ body, mesh: m }) => ({
          body, made: mesh(gl, floats(m.positions), floats(m.normals), bytes(m.colours), indices(m.order)),
        })),
      }));
      this.joined = this.joints.length ? lines(gl, new Float32Array(6)) : null;
      this.parted = new Set();
      this.ghosts.clear(); this.arrows.clear(); this.trails.clear();
      if (first) this.camera = { ...this.home };
      this.refresh();
    }

    _floor(colour) {
      const r = 6 * this.size, [x, y] = this.centre, z = this.level, c = rgb(colour);
      const corners = new Float32Array([x - r, y - r, z, x + r, y - r, z, x + r, y + r, z, x - r, y + r, z]);
      const paint = new Uint8Array([0, 1, 2, 3].flatMap(() => c.map((v) => Math.round(255 * v))));
      const normals = new Float32Array([0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1]);
      return mesh(this.gl, corners, normals, paint, new Uint32Array([0, 1, 2, 0, 2, 3]));
    }

    move(index, position, quaternion) {
      this.poses[index] = { position: [...position], quaternion: [...quaternion] };
      this.stir();
    }

    // As `move`, for one who draws soon: where drawing is slow, one picture with the new figures
    // comes sooner than two.
    put(index, position, quaternion) {
      if (!this.slow) {
        this.move(index, position, quaternion);
        return;
      }
      this.poses[index] = { position: [...position], quaternion: [...quaternion] };
      this.livelier();
    }

    // Something moves: where drawing is slow, coarser pictures until it is still again.
    stir() {
      this.livelier();
      this.refresh();
    }

    livelier() {
      this.lively = true;
      clearTimeout(this._calm);
      this._calm = setTimeout(() => {
        this.lively = false;
        if (this.slow) this.refresh();
      }, 300);
    }

    get slow() {
      return this.costs.length > 1 && Math.min(...this.costs) > 30;
    }

    // Wait until the picture is made, and return how long that took [ms].
    finish() {
      const began = performance.now();
      this.gl.readPixels(0, 0, 1, 1, this.gl.RGBA, this.gl.UNSIGNED_BYTE, new Uint8Array(4));
      return performance.now() - began;
    }

    // The outline of a body at another pose, or none; `edges` where it is of another scene.
    ghost(name, index, pose, colour = "#9FB4BF", share = 0.75, edges = null) {
      const old = this.ghosts.get(name);
      const same = old && pose && old.text === edges;
      const own = same ? old.own : pose && edges ? lines(this.gl, floats(edges)) : null;
      if (old && !same) drop(this.gl, old.own);
      if (pose) this.ghosts.set(name, { index, ...pose, colour, share, own, text: edges });
      else this.ghosts.delete(name);
      this.refresh();
    }

    // A straight arrow from `origin` by `vector`, or an arc about `axis` by `angle` at `radius`.
    arrow(name, what, colour) {
      drop(this.gl, this.arrows.get(name));
      this.arrows.delete(name);
      if (what) {
        const thick = what.thick || 0.03 * this.size;
        const points = what.axis ? this._arc(what) : [what.origin, add(what.origin, what.vector)];
        const [path, radii] = arrowPath(points, thick);
        const { positions, normals, order } = tube(path, radii);
        const made = mesh(this.gl, new Float32Array(positions), new Float32Array(normals), null,
          new Uint32Array(order));
        this.arrows.set(name, { ...made, colour: rgb(colour), rim: 0.006 * this.size });
      }
      this.refresh();
    }

    _arc({ origin, axis, angle, radius }) {
      const n = unit(axis), { back, right } = this.axes();
      const toward = Math.abs(dot(n, back)) < 0.95 ? back : right;
      const u = unit(add(toward, n, -dot(toward, n))), v = cross(n, u), points = [];
      for (let k = 0; k <= 28; k++) {
        const a = angle * (k / 28 - 0.5); // its middle turned to the viewer
        points.push(add(add(origin, u, radius * Math.cos(a)), v, radius * Math.sin(a)));
      }
      return points;
    }

    // Polylines, each a list of points; `hidden` where bodies are before them.
    trail(name, polylines, colour, width = 3, share = 1, hidden = false) {
      drop(this.gl, this.trails.get(name));
      this.trails.delete(name);
      if (polylines && polylines.length) {
        const segments = [];
        for (const points of polylines)
          for (let k = 1; k < points.length; k++) segments.push(...points[k - 1], ...points[k]);
        this.trails.set(name, {
          ...lines(this.gl, new Float32Array(segments)), colour: rgb(colour), width, share, hidden,
        });
      }
      this.refresh();
    }

    // Points of a joint's line now: straight, or hanging through.
    _linePath(joint) {
      const [a, b] = joint.ends.map(({ body, point }) => {
        if (body < 0) return point;
        return add(this.poses[body].position, rotate(this.poses[body].quaternion, point));
      });
      const slack = 0.5 * Math.sqrt(Math.max(joint.length ** 2 - length(sub(a, b)) ** 2, 0));
      const path = [];
      for (let k = 0; k <= 16; k++) {
        const s = k / 16;
        path.push(add(add(scale(a, 1 - s), b, s), [0, 0, -1], 4 * slack * s * (1 - s)));
      }
      return path;
    }

    axes() {
      const { azimuth: a, elevation: e } = this.camera;
      const back = [Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)];
      const right = [-Math.sin(a), Math.cos(a), 0];
      return { right, up: cross(back, right), back };
    }

    frame() {
      const { right, up, back } = this.axes();
      const { target, distance } = this.camera;
      const eye = add(target, back, distance);
      const w = this.canvas.clientWidth || 1, h = this.canvas.clientHeight || 1;
      const tx = FIELD * Math.max(1, w / h), ty = FIELD * Math.max(1, h / w);
      return { right, up, back, eye, tx, ty, w, h };
    }

    project(point) {
      const { right, up, back, eye, tx, ty, w, h } = this.frame();
      const d = sub(point, eye), z = -dot(d, back);
      return [(w / 2) * (1 + dot(d, right) / (z * tx)), (h / 2) * (1 - dot(d, up) / (z * ty)), z];
    }

    ray(x, y) {
      const { right, up, back, eye, tx, ty, w, h } = this.frame();
      const way = add(add(scale(right, tx * ((2 * x) / w - 1)), up, ty * (1 - (2 * y) / h)), back, -1);
      return { eye, way: unit(way) };
    }

    // The first body hit at a canvas point: { index, point }, or null.
    pick(x, y) {
      const { eye, way } = this.ray(x, y);
      let best = null, nearest = Infinity;
      this.bodies.forEach((body, index) => {
        const { position, quaternion: q } = this.poses[index];
        const inverse = [q[0], -q[1], -q[2], -q[3]];
        const o = rotate(inverse, sub(eye, position)), d = rotate(inverse, way);
        const p = body.positions, t = body.order;
        for (let k = 0; k < t.length; k += 3) {
          const [i, j, l] = [3 * t[k], 3 * t[k + 1], 3 * t[k + 2]];
          const e1 = [p[j] - p[i], p[j + 1] - p[i + 1], p[j + 2] - p[i + 2]];
          const e2 = [p[l] - p[i], p[l + 1] - p[i + 1], p[l + 2] - p[i + 2]];
          const h = cross(d, e2), det = dot(e1, h);
          if (Math.abs(det) < 1e-14) continue;
          const s = sub(o, [p[i], p[i + 1], p[i + 2]]), u = dot(s, h) / det;
          if (u < 0 || u > 1) continue;
          const c = cross(s, e1), v = dot(d, c) / det;
          if (v < 0 || u + v > 1) continue;
          const far = dot(e2, c) / det;
          const reach = body.opacity < 1 ? far + 1e3 : far; // see-through bodies come last
          if (far > 0 && reach < nearest) {
            nearest = reach;
            best = { index, point: add(eye, way, far) };
          }
        }
      });
      return best;
    }

    orbit(dx, dy) {
      this.camera.azimuth -= 0.008 * dx;
      this.camera.elevation = Math.min(1.5, Math.max(-0.6, this.camera.elevation + 0.008 * dy));
      this.stir();
    }
    pan(dx, dy) {
      const { right, up, ty, h } = this.frame();
      const s = (2 * ty * this.camera.distance) / h;
      this.camera.target = add(add(this.camera.target, right, -s * dx), up, s * dy);
      this.stir();
    }
    zoom(factor) {
      const d = this.camera.distance * factor;
      this.camera.distance = Math.min(40 * this.size, Math.max(0.3 * this.size, d));
      this.stir();
    }
    reset() {
      this.camera = { ...this.home };
      this.refresh();
    }

    refresh() {
      if (this._due) return;
      this._due = true;
      requestAnimationFrame(() => {
        this._due = false;
        this.draw();
      });
    }

    // Draw once with so many dots a pixel of the page; the next `refresh` is as usual.
    picture(ratio) {
      this.draw(ratio);
    }

    draw(wanted = 0) {
      const gl = this.gl, canvas = this.canvas;
      if (!canvas.clientWidth || !this.home) return;
      const quick = !wanted && this.lively && this.slow, began = performance.now();
      const ratio = wanted || Math.min(window.devicePixelRatio || 1, 2) * (quick ? Math.max(0.3, Math.sqrt(10 / Math.min(...this.costs))) : 1);
      const width = Math.round(canvas.clientWidth * ratio), height = Math.round(canvas.clientHeight * ratio);
      if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
      const f = this.frame(), reach = 8 * this.size;
      const near = Math.max(0.02 * this.camera.distance, this.camera.distance - reach);
      const camera = product(perspective(f.tx, f.ty, near, this.camera.distance + 2 * reach),
        viewMatrix(f.right, f.up, f.back, f.eye));
      const light = this._light(f);
      this.plain = quick;
      if (!quick) this._drawShadows(light);
      gl.viewport(0, 0, width, height);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      gl.enable(gl.DEPTH_TEST);
      gl.enable(gl.BLEND);
      gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
      this._drawBackdrop();
      this._set = this._common(f, camera, light);
      this._drawBodies();
      this._drawLines(camera, [width, height], ratio);
      this._drawArrows();
      if (!quick && this.costs.length < 3) {
        this.finish();
        this.costs.push(performance.now() - began);
      }
      this.drawn += 1;
      if (this.onframe) this.onframe();
    }

    _light(f) {
      const way = unit(add(add(scale(f.right, -0.35), f.up, 0.1), [0, 0, 1.1]));
      const side = unit(cross([0, 1, 0.01], way)), top = cross(way, side), r = 1.6 * this.size;
      const eye = add(this.centre, way, 3 * r);
      return product(orthographic(r, r, 5 * r), viewMatrix(side, top, way, eye));
    }

    _drawShadows(light) {
      const gl = this.gl, { made, places } = this.programs.depth;
      gl.bindFramebuffer(gl.FRAMEBUFFER, this.shadow.frame);
      gl.viewport(0, 0, this.shadow.n, this.shadow.n);
      gl.enable(gl.DEPTH_TEST);
      gl.clear(gl.DEPTH_BUFFER_BIT);
      gl.useProgram(made);
      gl.uniformMatrix4fv(places.light, false, light);
      this.bodies.forEach((body, k) => {
        if (body.opacity < 1) return;
        const { position, quaternion } = this.poses[k];
        gl.uniformMatrix4fv(places.model, false, poseMatrix(position, quaternion));
        this._elements(body.solid);
      });
      gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    }

    _drawBackdrop() {
      const gl = this.gl, { made, places } = this.programs.backdrop;
      gl.useProgram(made);
      gl.depthMask(false);
      gl.uniform3fv(places.low, rgb(this.colours.low));
      gl.uniform3fv(places.high, rgb(this.colours.high));
      gl.bindVertexArray(this.sheet);
      gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
      gl.depthMask(true);
    }

    _common(f, camera, light) {
      const gl = this.gl, { made, places } = this.programs.solid;
      gl.useProgram(made);
      gl.activeTexture(gl.TEXTURE0);
      gl.bindTexture(gl.TEXTURE_2D, this.shadow.texture);
      gl.uniform1i(places.shade, 0);
      gl.uniformMatrix4fv(places.camera, false, camera);
      gl.uniformMatrix4fv(places.light, false, light);
      for (const name of ["eye", "right", "up", "back"]) gl.uniform3fv(places[name], f[name]);
      gl.uniform1f(places.level, this.level);
      gl.uniform1f(places.gridStep, this.grid);
      gl.uniform1f(places.gridReach, 1.3 * this.size);
      gl.uniform1f(places.dim, this.colours.dim);
      gl.uniform3fv(places.gridCentre, [this.centre[0], this.centre[1], this.level]);
      return (values) => {
        for (const [name, value] of Object.entries(values)) {
          if (name === "model") gl.uniformMatrix4fv(places.model, false, value);
          else if (Array.isArray(value)) gl.uniform3fv(places[name], value);
          else gl.uniform1f(places[name], value);
        }
      };
    }

    _elements({ array, count }) {
      this.gl.bindVertexArray(array);
      this.gl.drawElements(this.gl.TRIANGLES, count, this.gl.UNSIGNED_INT, 0);
    }

    _drawBodies() {
      const gl = this.gl, set = this._set;
      const plain = { swell: 0, flat_: 0, tinted: 0, tint: [0, 0, 0], gloss: 0, sharpness: 10,
        opacity: 1, fading: 0, shadows: this.plain ? 0 : 1 };
      if (this.floor) {
        set({ ...plain, model: IDENTITY, fading: 1 }); // into the backdrop
        this._elements(this.floor);
      }
      for (const joint of this.joints) {
        if (this.parted.has(joint.name)) continue;
        for (const { body, made } of joint.solids) {
          const pose = this.poses[body];
          set({ ...plain, model: pose ? poseMatrix(pose.position, pose.quaternion) : IDENTITY });
          this._elements(made);
        }
      }
      const order = this.bodies.map((_, k) => k)
        .sort((a, b) => this.bodies[b].opacity - this.bodies[a].opacity);
      for (const k of order) {
        const body = this.bodies[k], { position, quaternion } = this.poses[k];
        const model = poseMatrix(position, quaternion), clear = body.opacity < 1;
        const alarm = k === this.alarmed ? 0.45 : 0;
        if (clear) gl.depthMask(false);
        set({ ...plain, model, gloss: this.plain ? 0 : body.gloss, sharpness: body.sharpness, opacity: body.opacity,
          tinted: alarm, tint: [0.85, 0.2, 0.25] });
        this._elements(body.solid);
        if (body.hull && !clear) {
          gl.enable(gl.CULL_FACE);
          gl.cullFace(gl.FRONT);
          const picked = k === this.marked;
          set({ model, flat_: 1, tinted: 1, swell: (picked ? 0.014 : 0.007) * body.size,
            tint: rgb(picked ? this.colours.pick || "#FFB454" : this.colours.rim), opacity: 1 });
          this._elements(body.hull);
          gl.disable(gl.CULL_FACE);
        }
        if (clear) gl.depthMask(true);
      }
    }

    _drawLines(camera, size, ratio) {
      const gl = this.gl, { made, places } = this.programs.line;
      gl.useProgram(made);
      gl.uniformMatrix4fv(places.camera, false, camera);
      gl.uniform2fv(places.size, size);
      const stroke = (what, model, colour, share, width, nearer) => {
        gl.uniformMatrix4fv(places.model, false, model);
        gl.uniform4fv(places.colour, [...colour, share]);
        gl.uniform1f(places.width, width * ratio);
        gl.uniform1f(places.nearer, nearer);
        gl.bindVertexArray(what.array);
        gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, what.count);
      };
      this.bodies.forEach((body, k) => {
        if (!body.edges.count) return;
        const { position, quaternion } = this.poses[k];
        stroke(body.edges, poseMatrix(position, quaternion), rgb(this.colours.edge), 0.85, 1.2, 4e-5);
      });
      for (const joint of this.joints) {
        if (joint.length === null || this.parted.has(joint.name)) continue;
        const path = this._linePath(joint), segments = [];
        for (let k = 1; k < path.length; k++) segments.push(...path[k - 1], ...path[k]);
        gl.bindBuffer(gl.ARRAY_BUFFER, this.joined.buffers[1]);
        gl.bufferData(gl.ARRAY_BUFFER, new Float32Array(segments), gl.DYNAMIC_DRAW);
        this.joined.count = segments.length / 6;
        stroke(this.joined, IDENTITY, rgb(joint.colour), 1, 3, 4e-5);
      }
      for (const g of this.ghosts.values())
        stroke(g.own || this.bodies[g.index].edges, stretched(poseMatrix(g.position, g.quaternion), g.stretch), rgb(g.colour),
          g.share, 1.8, 2e-5);
      for (const t of this.trails.values()) {
        if (!t.hidden) gl.disable(gl.DEPTH_TEST); // a path runs through the part that made it
        stroke(t, IDENTITY, t.colour, t.share, t.width, 0);
        gl.enable(gl.DEPTH_TEST);
      }
    }

    _drawArrows() {
      if (!this.arrows.size) return;
      const gl = this.gl, set = this._set;
      gl.useProgram(this.programs.solid.made);
      gl.clear(gl.DEPTH_BUFFER_BIT); // arrows show through what they act on
      gl.enable(gl.CULL_FACE);
      for (const arrow of this.arrows.values()) {
        gl.cullFace(gl.FRONT);
        set({ model: IDENTITY, flat_: 1, tinted: 1, tint: rgb("#16212A"), swell: arrow.rim, opacity: 1 });
        this._elements(arrow);
        gl.cullFace(gl.BACK);
        set({ model: IDENTITY, flat_: 0, tinted: 1, tint: arrow.colour, swell: 0, gloss: 0.2,
          sharpness: 20, opacity: 1, shadows: 0 });
        this._elements(arrow);
      }
      gl.disable(gl.CULL_FACE);
    }
  }

  window.snapsim = Object.assign(window.snapsim || {}, {
    StageView, floats, bytes, indices,
    math: { add, sub, scale, dot, cross, length, unit, multiply, about, rotate, hermite, turned, normalised },
  });
})();
