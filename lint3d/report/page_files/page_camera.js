// From where is the part looked at? An orthographic camera on a turntable, z up. Lengths in mm.
'use strict';

const add = (a, b, times = 1) => a.map((x, i) => x + times * b[i]);
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const length = (a) => Math.hypot(...a);
const STEEPEST = 1.5707;

class Camera {
  constructor(stage, changed) {
    this.stage = stage;
    this.changed = changed;
    this.target = [0, 0, 0];
    this.yaw = -1.05;
    this.pitch = 0.5;
    this.width = 100; // mm across the shorter side of the stage
    this.reach = 1000;
    this.lens = new THREE.OrthographicCamera(-1, 1, 1, -1, 0, 1);
    this.flight = 0;
  }

  get size() { return [Math.max(this.stage.clientWidth, 1), Math.max(this.stage.clientHeight, 1)]; }

  get pixel() { return this.width / Math.min(...this.size); }

  get axes() {
    const [c, s] = [Math.cos(this.yaw), Math.sin(this.yaw)];
    const [u, v] = [Math.cos(this.pitch), Math.sin(this.pitch)];
    return { right: [-s, c, 0], up: [-v * c, -v * s, u], eye: [u * c, u * s, v] };
  }

  // Pixels from the upper left corner of the stage.
  projected(point) {
    const { right, up } = this.axes;
    const [wide, high] = this.size;
    const from = add(point, this.target, -1);
    return [wide / 2 + dot(from, right) / this.pixel, high / 2 - dot(from, up) / this.pixel];
  }

  ready() {
    const { up, eye } = this.axes;
    const [wide, high] = this.size;
    const half = this.pixel / 2;
    Object.assign(this.lens, {
      left: -wide * half, right: wide * half, top: high * half, bottom: -high * half,
      near: 0, far: 4 * this.reach,
    });
    this.lens.up.set(...up);
    this.lens.position.set(...add(this.target, eye, 2 * this.reach));
    this.lens.lookAt(...this.target);
    this.lens.updateProjectionMatrix();
    return this.lens;
  }

  turn(right, up) {
    this.stop();
    this.yaw -= right;
    this.pitch = Math.max(-STEEPEST, Math.min(STEEPEST, this.pitch + up));
    this.changed();
  }

  move(right, down) {
    this.stop();
    const axes = this.axes;
    this.target = add(add(this.target, axes.right, -right * this.pixel), axes.up, down * this.pixel);
    this.changed();
  }

  // What is under the spot, in pixels, stays there.
  zoom(times, spot) {
    this.stop();
    const [wide, high] = this.size;
    const [x, y] = spot || [wide / 2, high / 2];
    const before = this.pixel;
    this.width = Math.max(this.reach / 1e4, Math.min(this.reach * 6, this.width * times));
    const axes = this.axes;
    const gone = before - this.pixel;
    this.target = add(add(this.target, axes.right, (x - wide / 2) * gone), axes.up, (high / 2 - y) * gone);
    this.changed();
  }

  // From the eye (unit vector), with the focus in the middle.
  fly(focus, eye, width) {
    this.stop();
    const pitch = Math.asin(Math.max(-1, Math.min(1, eye[2])));
    const flat = Math.hypot(eye[0], eye[1]);
    let yaw = flat > 1e-6 ? Math.atan2(eye[1], eye[0]) : this.yaw;
    yaw += Math.round((this.yaw - yaw) / (2 * Math.PI)) * 2 * Math.PI;
    const from = { target: this.target, yaw: this.yaw, pitch: this.pitch, width: this.width };
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
    const begun = performance.now();
    const step = () => {
      const share = still ? 1 : Math.min(1, (performance.now() - begun) / 500);
      const t = share * share * (3 - 2 * share);
      this.target = from.target.map((x, i) => x + t * (focus[i] - x));
      this.yaw = from.yaw + t * (yaw - from.yaw);
      this.pitch = from.pitch + t * (pitch - from.pitch);
      this.width = from.width * (width / from.width) ** t;
      this.flight = share < 1 ? requestAnimationFrame(step) : 0;
      this.changed();
    };
    step();
  }

  stop() {
    cancelAnimationFrame(this.flight);
    this.flight = 0;
  }

  whole(low, high, eye) {
    this.reach = length(add(high, low, -1)) || 1;
    this.fly(add(low, high).map((x) => x / 2), eye || this.axes.eye, this.reach * 0.95);
  }

  listen() {
    const fingers = new Map();
    const spot = (event) => {
      const box = this.stage.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    };
    this.stage.addEventListener('pointerdown', (event) => {
      if (event.target.closest('.pin')) return;
      this.stage.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, spot(event));
    });
    this.stage.addEventListener('pointermove', (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      const now = spot(event);
      const [x, y] = [now[0] - before[0], now[1] - before[1]];
      const others = [...fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
      fingers.set(event.pointerId, now);
      if (others.length) {
        const apart = (at) => Math.hypot(at[0] - others[0][0], at[1] - others[0][1]) || 1;
        this.zoom(apart(before) / apart(now), others[0]);
        this.move(x / 2, y / 2);
      } else if (event.shiftKey || event.buttons & 6) {
        this.move(x, y);
      } else {
        this.turn(x * 0.008, y * 0.008);
      }
    });
    for (const name of ['pointerup', 'pointercancel']) {
      this.stage.addEventListener(name, (event) => fingers.delete(event.pointerId));
    }
    this.stage.addEventListener('contextmenu', (event) => event.preventDefault());
    this.stage.addEventListener('wheel', (event) => {
      event.preventDefault();
      const step = event.deltaMode === 1 ? event.deltaY * 30 : event.deltaY;
      this.zoom(Math.exp(Math.max(-1, Math.min(1, step * 0.0015))), spot(event));
    }, { passive: false });
  }

  // True if the key was for the camera.
  key(event) {
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const way = ways[event.key];
    if (way && event.shiftKey) this.move(way[0] * -40, way[1] * -40);
    else if (way) this.turn(way[0] * 0.12, way[1] * 0.12);
    else if (event.key === '+' || event.key === '=') this.zoom(0.8);
    else if (event.key === '-' || event.key === '_') this.zoom(1.25);
    else return false;
    return true;
  }
}
