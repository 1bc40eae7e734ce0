// What the page's scripts hand to each other by `window.snapsim`, and what Vue and trame add.
// Lengths in m, quaternions (w, x, y, z); a Vector has three numbers, a Quaternion four.

type Vector = number[];
type Quaternion = number[];
interface Pose { position: Vector; quaternion: Quaternion }
interface Label { name: string; text: string; point: Vector }
interface Acting { force?: Vector; torque?: Vector; weight?: number; hand?: Vector | null }
interface Layers { [name: string]: boolean }
interface Packed { [name: string]: any }

interface Calculus {
  add(a: Vector, b: Vector, s?: number): Vector;
  sub(a: Vector, b: Vector): Vector;
  scale(a: Vector, s: number): Vector;
  dot(a: Vector, b: Vector): number;
  cross(a: Vector, b: Vector): Vector;
  length(a: Vector): number;
  unit(a: Vector): Vector;
  multiply(p: Quaternion, q: Quaternion): Quaternion;
  about(axis: Vector, angle: number): Quaternion;
  rotate(q: Quaternion, v: Vector): Vector;
  hermite(p0: Vector, p1: Vector, v0: Vector, v1: Vector, span: number, s: number): Vector;
  turned(q0: Quaternion, q1: Quaternion, w0: Vector, w1: Vector, span: number, s: number): Quaternion;
  normalised(q: Quaternion): Quaternion;
}

interface Moment { time: number; speed: number; kinetic: number; gap: number; force: Vector; torque: Vector }

interface PlayedRun {
  end: number;
  time: Float64Array;
  part: number;
  scene: any;
  blow: { time: number; words: string } | null;
  parted: { [joint: string]: number };
  weight_N: number;
  bodies: { index: number; name: string }[];
  partName: string;
  follow(index: number): void;
  frame(t: number): { low: number; next: number; share: number; span: number };
  poses(t: number): (Pose & { index: number })[];
  figures(t: number): Moment;
  pull(): Float32Array;
  path(most?: number): Vector[];
}

interface Ticker {
  time: number; end: number; pace: number; playing: boolean;
  play(): void;
  pause(): void;
}

interface Stage {
  canvas: HTMLCanvasElement;
  camera: { target: Vector; distance: number; azimuth: number; elevation: number };
  bodies: any[];
  poses: Pose[];
  size: number;
  marked: number;
  slow: boolean;
  lively: boolean;
  alarmed: number;
  parted: Set<string>;
  arrows: Map<string, any>;
  colours: { [name: string]: any };
  onframe: (() => void) | null;
  show(scene: any): void;
  move(index: number, position: Vector, quaternion: Quaternion): void;
  put(index: number, position: Vector, quaternion: Quaternion): void;
  pick(x: number, y: number): { index: number; point: Vector } | null;
  ray(x: number, y: number): { eye: Vector; way: Vector };
  axes(): { right: Vector; up: Vector; back: Vector };
  project(point: Vector): Vector;
  ghost(name: string, index: number, pose: Pose | null, colour?: string, share?: number, edges?: string | null): void;
  arrow(name: string, what: any, colour: string): void;
  trail(name: string, polylines: Vector[][] | null, colour: string, width?: number, share?: number, hidden?: boolean): void;
  orbit(dx: number, dy: number): void;
  pan(dx: number, dy: number): void;
  zoom(factor: number): void;
  reset(): void;
  refresh(): void;
  draw(wanted?: number): void;
  picture(ratio: number): void;
  finish(): void;
}

interface HandChoices {
  part(): number;
  tool(): string;
  axis(): string;
  moved(position: Vector, quaternion: Quaternion, event: PointerEvent): void;
  held(now: boolean): void;
  other(index: number): void;
  wished?(): Pose | null;
  sized?(index: number): void;
}

interface Grip {
  key: string; component: number | null; point: Vector; axis: Vector; growth: number; shift: number;
  stretch: number[]; value: number; words: string;
}

interface Snapsim {
  math: Calculus;
  bytes(text: string): Uint8Array;
  floats(text: string): Float32Array;
  indices(text: string): Uint32Array;
  StageView: new (canvas: HTMLCanvasElement) => Stage;
  Hands: new (view: Stage, choices: HandChoices) => object;
  Recording: new (packed: Packed) => PlayedRun;
  Clock: new (tick: (time: number) => void, ended: () => void) => Ticker;
  quantity(value: number | null | undefined, unit: string, decimals?: number | null): { number: string; unit: string };
  said(value: number | null | undefined, unit: string, decimals?: number | null): string;
  ticks(low: number, high: number, about: number): { value: number; text: string }[];
  thinned(x: ArrayLike<number>, y: ArrayLike<number>, columns: number): number[][];
  grown(ratio: number): number;
  PACES: { text: string; value: number }[];
  parts: { [name: string]: any };
  LAYERS: Layers;
  showArrows(view: Stage, part: number, acting: Acting | null | false | undefined, layers: Layers): Label[];
  placeLabels(view: Stage, labels: Label[], box: HTMLElement): void;
  showRecord(view: Stage, record: PlayedRun, time: number): void;
  showOther(view: Stage, other: PlayedRun | null, time: number): void;
  showLayers(view: Stage, record: PlayedRun, other: PlayedRun | null, layers: Layers): void;
  showPulls(view: Stage, part: number, cards: { name: string; index: number; force: Vector; weight_N: number }[]): void;
  showHands(view: Stage, hands: (Pose & { name: string; point: Vector; span: Vector })[], words: (hand: any) => string): Label[];
  showReach(view: Stage, centre: Vector, radius: number): void;
  showLines(view: Stage, lines: Vector[][] | null, stale: boolean): void;
  dress(view: Stage): void;
  Warner: new () => { on: boolean; hear(level: string): void };
  Counter: new () => { count(moments: number, now?: number): number };
  dangerOf(moment: any, letGo: { kind: string } | null): string;
  DANGERS: { [level: string]: string };
  paceWords(moment: any): string;
  showSteps(record: any, note: string): { name: string; from: number; to: number; pace: number; words: string }[];
  SHOW_KEYS: { [key: string]: number };
  SnapLost: any;
  sizing: any;
  dropping: any;
  abreast: any;
  sizeAt(pose: Pose, grip: Grip, ray: { eye: Vector; way: Vector }, whole: boolean): number | null;
  drawnTo(pose: Pose, grip: Grip, value: number): { outline: Pose & { stretch: number[] }; point: Vector };
  rounded(value: number, whole: boolean): number;
  sizeWords(size: number[], unit: string): string;
  reconnect(given: {
    ask(): Promise<number>; wait(s: number): Promise<void>; tell(state: string): void; again(): void; over(): boolean;
  }): Promise<void>;
  page: any;
  unsaved?: { text: string; file: string; meshes: { [name: string]: string } } | null;
  plugin: any;
  delays?: { all: number; event: number; answer: number }[];
  asked: number[];
}

interface Window {
  AudioContext?: typeof AudioContext;
  snapsim: Snapsim;
  trame: { trigger(name: string, given: unknown[]): Promise<any> };
}

declare const Vue: any;

/** Options of a Vue component: what `this` is in them, Vue makes. */
type Component = { [option: string]: any } & ThisType<any>;
