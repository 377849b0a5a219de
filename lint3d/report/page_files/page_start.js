// The page: one scene at a time, what is chosen, the section, the tools.
'use strict';

const byId = (id) => document.getElementById(id);
const pressed = (id) => byId(id).getAttribute('aria-pressed') === 'true';
const press = (id, on) => byId(id).setAttribute('aria-pressed', String(on));
const COLOURS = getComputedStyle(document.documentElement);
const colour = (name) => COLOURS.getPropertyValue(`--${name}`).trim();

class Page {
  constructor(data, renderer) {
    this.data = data;
    this.renderer = renderer;
    this.scenes = new Map();
    this.number = -1;
    this.busy = false;
    this.marked = null;
    this.cutting = { point: [0, 0, 0], normal: [0, -1, 0], turned: 1 };
    this.camera = new Camera(byId('stage'), () => this.draw());
    this.overlay = new Overlay(this.camera, (result) => this.choose(result));
    this.list = new List(data, (result) => this.choose(result), () => this.draw());
    this.tools();
  }

  get scene() { return this.scenes.get(this.number); }

  async show(number) {
    if (number === this.number) return;
    if (!this.scenes.has(number)) this.scenes.set(number, await sceneFrom(this.data.scenes[number]));
    this.number = number;
    byId('scene').value = String(number);
    this.camera.reach = length(add(this.scene.high, this.scene.low, -1)) || 1;
    press('cut', false);
    const best = this.list.shown.find((result) => result.scene === number && result.focus && !result.cut);
    this.camera.whole(this.scene.low, this.scene.high, best ? best.eye : [0.45, -0.75, 0.485]);
    this.thickness();
  }

  async choose(result) {
    const turn = this.turn = (this.turn || 0) + 1;
    this.busy = true;
    byId('stage').dataset.flying = 'true';
    this.list.mark(result);
    if (this.marked) { this.marked.removeFromParent(); dispose(this.marked); this.marked = null; }
    const place = result && !result.focus ? `: no place in 3D (${result.file})` : '';
    byId('chosen').textContent = result ? `${this.data.marks[result.kind]} ${result.rule}${place}` : '';
    if (!result || !result.focus) { this.busy = false; this.section(false); this.draw(); return; }
    await this.show(result.scene);
    const group = new THREE.Group();
    if (result.faces) group.add(await markedFaces(result.faces, colour(result.kind)));
    if (result.facesOther) group.add(await markedFaces(result.facesOther, colour('other')));
    if (turn !== this.turn) { dispose(group); return; }
    this.marked = group;
    this.scene.root.add(group);
    byId('cut-way').value = 'place';
    this.section(Boolean(result.cut));
    this.busy = false;
    this.camera.fly(result.focus, result.eye, result.width);
  }

  // The section through the chosen place, across the view, or across an axis.
  section(on) {
    press('cut', on);
    const way = byId('cut-way').value;
    const chosen = this.list.chosen;
    const eye = this.camera.axes.eye;
    const axis = 'xyz'.indexOf(way);
    let normal = axis < 0 ? eye : [0, 1, 2].map((i) => (i === axis ? Math.sign(eye[axis]) || 1 : 0));
    if (way === 'place' && chosen && chosen.cut) normal = chosen.cut.normal;
    let point = chosen && chosen.focus ? chosen.focus : this.camera.target;
    if (way === 'place' && chosen && chosen.cut) point = chosen.cut.point;
    this.cutting = { point, normal, turned: 1 };
    byId('cut-at').value = String(Math.round(1000 * this.share(point)));
    this.draw();
  }

  // How the box of the scene reaches along the normal of the section.
  get span() {
    const { low, high } = this.scene;
    const { normal } = this.cutting;
    const [from, to] = [low, high].map((end, far) => normal.reduce(
      (sum, x, i) => sum + x * ((x > 0) === Boolean(far) ? high[i] : low[i]), 0));
    return [from, to - from || 1];
  }

  share(point) {
    if (!this.scene) return 0.5;
    const [from, size] = this.span;
    return (dot(point, this.cutting.normal) - from) / size;
  }

  slide() {
    const [from, size] = this.span;
    const { normal, point } = this.cutting;
    const wanted = from + size * (Number(byId('cut-at').value) / 1000);
    this.cutting.point = add(point, normal, wanted - dot(point, normal));
    press('cut', true);
    this.draw();
  }

  thickness() {
    const on = pressed('thick');
    const fields = this.scene ? this.scene.bodies.filter((body) => body.field) : [];
    byId('thick').disabled = !fields.length;
    byId('scale').hidden = !(on && fields.length);
    const high = Math.max(0.001, ...fields.map((body) => body.field.high));
    if (on && fields.length) thicknessScale(byId('scale'), high, this.data.limit);
    for (const body of fields) {
      body.look.uniforms.overlay.value = on ? 1 : 0;
      body.look.uniforms.limit.value = this.data.limit ? this.data.limit.value / body.field.high : 0;
    }
    this.draw();
  }

  draw() {
    if (!this.waiting) this.waiting = requestAnimationFrame(() => { this.waiting = 0; this.frame(); });
  }

  frame() {
    if (!this.scene) return;
    const [wide, high] = this.camera.size;
    const ratio = Math.min(devicePixelRatio || 1, 2);
    this.renderer.setPixelRatio(ratio);
    this.renderer.setSize(wide, high, false);
    this.renderer.setClearColor(colour('ground'));
    const { point, normal, turned } = this.cutting;
    shared.cutting.value = pressed('cut') ? 1 : 0;
    shared.cut.value.set(...normal, dot(normal, point)).multiplyScalar(turned);
    shared.ratio.value = ratio;
    shared.ink.value.set(colour('ink'));
    shared.paper.value.set(colour('paper'));
    this.bodies();
    this.renderer.render(this.scene.root, this.camera.ready());
    const shown = this.list.shown.filter((result) => result.focus && result.scene === this.number);
    this.overlay.draw(shown, this.list.chosen && this.list.chosen.scene === this.number ? this.list.chosen : null);
    const { eye } = this.camera.axes;
    Object.assign(byId('stage').dataset, {
      scene: this.number, eye: eye.map((x) => x.toFixed(3)), target: this.camera.target.map((x) => x.toFixed(3)),
      width: this.camera.width.toFixed(3), flying: String(this.busy || this.camera.flight !== 0),
    });
  }

  // Bodies that the chosen result is not about fade.
  bodies() {
    const chosen = this.list.chosen && this.list.chosen.scene === this.number ? this.list.chosen : null;
    const solid = pressed('cut') && !pressed('through');
    const where = solid ? THREE.NotEqualStencilFunc : THREE.AlwaysStencilFunc;
    for (const [number, body] of this.scene.bodies.entries()) {
      const about = !chosen || chosen.on < 0 || number === chosen.on || number === chosen.onOther;
      const opacity = pressed('through') ? 0.2 : about ? 1 : 0.12;
      const { look, inside, pen } = body;
      look.uniforms.opacity.value = opacity;
      for (const side of [look, inside]) {
        side.transparent = opacity < 1;
        side.depthWrite = opacity === 1;
      }
      look.uniforms.tint.value.set(colour('body'));
      if (chosen && number === chosen.onOther) look.uniforms.tint.value.lerp(new THREE.Color('#b89c62'), 0.45);
      pen.uniforms.tint.value.set(colour('ink'));
      pen.uniforms.opacity.value = about ? 0.6 : 0.12;
      pen.stencilFunc = where;
    }
    for (const place of this.marked ? this.marked.children : []) {
      place.userData.ghost.visible = !solid;
      place.children[0].material.stencilFunc = where;
    }
  }

  tools() {
    const choice = byId('scene');
    for (const [number, scene] of this.data.scenes.entries()) made('option', '', scene.name, choice).value = String(number);
    byId('scene-label').hidden = this.data.scenes.length < 2;
    choice.addEventListener('change', () => { this.choose(null); this.show(Number(choice.value)); });
    byId('whole').addEventListener('click', () => this.whole());
    byId('through').addEventListener('click', () => this.toggle('through'));
    byId('thick').addEventListener('click', () => this.toggle('thick'));
    byId('cut').addEventListener('click', () => this.toggle('cut'));
    byId('cut-way').addEventListener('change', () => this.section(true));
    byId('cut-at').addEventListener('input', () => this.slide());
    byId('cut-turn').addEventListener('click', () => { this.cutting.turned *= -1; press('cut', true); this.draw(); });
    this.camera.listen();
    document.addEventListener('keydown', (event) => this.key(event));
    new ResizeObserver(() => this.draw()).observe(byId('stage'));
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.draw());
  }

  toggle(id) {
    if (byId(id).disabled) return;
    if (id === 'cut') { this.section(!pressed('cut')); return; }
    press(id, !pressed(id));
    if (id === 'thick') this.thickness(); else this.draw();
  }

  whole() {
    if (this.scene) this.camera.whole(this.scene.low, this.scene.high);
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.matches('select, input[type=range]')) return;
    const keys = {
      n: () => this.list.step(1), p: () => this.list.step(-1), 0: () => this.whole(), x: () => this.toggle('cut'),
      t: () => this.toggle('through'), h: () => this.toggle('thick'), escape: () => this.choose(null),
    };
    const todo = keys[event.key.toLowerCase()];
    if (todo) todo();
    else if (event.target.closest('#list')) { if (!this.list.key(event)) return; }
    else if (!event.target.closest('#stage') || !this.camera.key(event)) return;
    event.preventDefault();
  }
}

async function start() {
  const data = JSON.parse(byId('data').textContent);
  if (typeof DecompressionStream === 'undefined' || !data.scenes.length) return;
  let renderer;
  try {
    renderer = new THREE.WebGLRenderer({ canvas: byId('canvas'), antialias: true });
  } catch (error) {
    return; // no WebGL: the pictures and the table say the same
  }
  byId('app').hidden = false;
  byId('flat').hidden = true;
  const page = new Page(data, renderer);
  const first = data.results.find((result) => result.focus && ['fail', 'review', 'conceded'].includes(result.kind));
  await page.show(first ? first.scene : 0);
  document.documentElement.dataset.ready = 'true';
}

if (typeof THREE !== 'undefined') start();
