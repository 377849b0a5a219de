// What is drawn over the 3D view: pins, dimensions, ways out, the scale bar. Sizes in pixels.
'use strict';

const SVG = 'http://www.w3.org/2000/svg';

function drawn(name, facts, parent) {
  const thing = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(facts)) thing.setAttribute(key, value);
  parent.append(thing);
  return thing;
}

const path = (points) => points.map((at, i) => `${i ? 'L' : 'M'}${at[0].toFixed(1)} ${at[1].toFixed(1)}`).join('');

class Overlay {
  constructor(camera, choose) {
    this.camera = camera;
    this.choose = choose;
    this.over = document.getElementById('over');
    this.bar = document.getElementById('bar');
  }

  // A line with a seam in the colour of the ground, so that it shows on anything.
  line(points, kind, width) {
    drawn('path', { d: path(points), class: 'seam', 'stroke-width': width + 4, 'stroke-linejoin': 'round' }, this.over);
    drawn('path', { d: path(points), class: kind, 'stroke-width': width, 'stroke-linejoin': 'round' }, this.over);
  }

  ring(at, radius, kind) {
    for (const [name, width] of [['seam', 5], [kind, 2.4]]) {
      drawn('circle', { cx: at[0], cy: at[1], r: radius, class: name, 'stroke-width': width }, this.over);
    }
  }

  arrow(tip, back, kind, size = 11) {
    const far = Math.hypot(tip[0] - back[0], tip[1] - back[1]);
    if (!far) return;
    const [x, y] = [(tip[0] - back[0]) / far, (tip[1] - back[1]) / far];
    const [p, q] = [tip[0] - x * size, tip[1] - y * size];
    const wide = size / 3;
    drawn('path', { d: `M${tip}L${p - y * wide} ${q + x * wide}L${p + y * wide} ${q - x * wide}z`, class: kind }, this.over);
  }

  draw(shown, chosen) {
    this.over.replaceChildren();
    const taken = [];
    if (chosen && chosen.focus) taken.push(this.camera.projected(chosen.focus));
    for (const result of shown) if (result !== chosen) this.pin(result, taken);
    if (chosen && chosen.focus) this.chosen(chosen);
    this.measure();
  }

  // A pin that would cover another is left out: the list has them all.
  pin(result, taken) {
    const [x, y] = this.camera.projected(result.focus);
    const [wide, high] = this.camera.size;
    if (x < 0 || y < 0 || x > wide || y > high) return;
    if (taken.some((at) => Math.hypot(at[0] - x, at[1] - y) < 16)) return;
    taken.push([x, y]);
    const pin = drawn('g', { class: `pin ${result.kind}`, transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})` }, this.over);
    drawn('title', {}, pin).textContent = `${result.rule}, ${result.measured}`;
    drawn('circle', { r: 12, fill: 'var(--paper)' }, pin);
    drawn('use', { href: `#mark-${result.kind}`, x: -9, y: -9, width: 18, height: 18, class: 'mark' }, pin);
    pin.addEventListener('click', () => this.choose(result));
  }

  chosen(result) {
    this.over.setAttribute('class', result.kind);
    let at = this.camera.projected(result.focus);
    if (result.path) this.way(result);
    if (result.ends) {
      const [one, two] = result.ends.map((end) => this.camera.projected(end));
      this.dimension(one, two);
      at = [(one[0] + two[0]) / 2, (one[1] + two[1]) / 2];
    } else {
      this.ring(at, 10, 'tint');
    }
    const lines = [result.measured];
    if (result.required && result.required !== 'none') lines.push(`required: ${result.required}`);
    if (/\d/.test(result.measured) && lines.length > 1) this.label(at, lines);
  }

  way(result) {
    const points = result.path.map((point) => this.camera.projected(point));
    this.line(points, 'way', 2.5);
    this.arrow(points[points.length - 1], points[points.length - 2], 'way-tip', 14);
    if (result.throat) {
      const wide = result.throat.wide / this.camera.pixel / 2;
      this.ring(this.camera.projected(result.throat.at), Math.max(wide, 5), 'tint');
    }
  }

  dimension(one, two) {
    const far = Math.hypot(two[0] - one[0], two[1] - one[1]);
    if (far < 3) { this.ring(one, 8, 'ink'); return; }
    const [x, y] = [(two[0] - one[0]) / far, (two[1] - one[1]) / far];
    for (const end of [one, two]) {
      this.line([[end[0] + y * 9, end[1] - x * 9], [end[0] - y * 9, end[1] + x * 9]], 'ink', 1.5);
    }
    if (far > 46) {
      this.line([one, two], 'ink', 1.5);
      this.arrow(one, two, 'tip');
      this.arrow(two, one, 'tip');
      return;
    }
    for (const [end, way] of [[one, -1], [two, 1]]) {
      const back = [end[0] + way * x * 34, end[1] + way * y * 34];
      this.line([back, end], 'ink', 1.5);
      this.arrow(end, back, 'tip');
    }
  }

  label(at, lines) {
    const [wide, high] = this.camera.size;
    const group = drawn('g', {}, this.over);
    const texts = lines.map((line, row) => {
      const text = drawn('text', { x: 0, y: 22 + row * 19, class: row ? 'more' : '' }, group);
      text.textContent = line;
      return text;
    });
    const room = Math.max(...texts.map((text) => text.getComputedTextLength())) + 20;
    const tall = 14 + lines.length * 19;
    const below = at[1] < high / 2;
    const left = Math.max(8, Math.min(wide - room - 8, at[0] + 28));
    const top = Math.max(40, Math.min(high - tall - 8, at[1] + (below ? 64 : -64 - tall)));
    this.line([at, [left + 12, below ? top : top + tall]], 'ink', 1.2);
    this.over.append(group);
    group.prepend(drawn('rect', { x: left, y: top, width: room, height: tall, class: 'box', rx: 2 }, group));
    for (const text of texts) {
      text.setAttribute('x', left + 10);
      text.setAttribute('y', top + Number(text.getAttribute('y')) - 2);
    }
  }

  measure() {
    const about = 0.22 * this.camera.size[0] * this.camera.pixel;
    const power = 10 ** Math.floor(Math.log10(about));
    const long = [5, 2, 1].find((times) => times * power <= about * 1.000001) * power;
    this.bar.firstElementChild.textContent = `${Number(long.toPrecision(3))} mm`;
    this.bar.lastElementChild.style.width = `${long / this.camera.pixel}px`;
  }
}

// The colours of the thickness, with the limit as a mark on them.
function thicknessScale(box, high, limit) {
  box.replaceChildren();
  const said = document.createElement('p');
  said.textContent = limit ? `Thickness, mm. Limit: ${limit.text}` : 'Thickness, mm';
  box.append(said);
  const scale = drawn('svg', { viewBox: '0 0 240 44', preserveAspectRatio: 'none' }, box);
  const share = limit ? Math.min(1, limit.value / high) : 0;
  const places = drawn('defs', {}, scale);
  const blend = (name, from, to) => {
    const shade = drawn('linearGradient', { id: name }, places);
    drawn('stop', { offset: 0, 'stop-color': from }, shade);
    drawn('stop', { offset: 1, 'stop-color': to }, shade);
  };
  blend('shade-low', '#731a05', '#e67329');
  blend('shade-high', '#f5edcc', '#296699');
  const hatch = drawn('pattern', { id: 'hatch', width: 6, height: 6, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, places);
  drawn('rect', { width: 2, height: 6, fill: '#fff', 'fill-opacity': 0.35 }, hatch);
  const at = 206 * share;
  drawn('rect', { x: 0, y: 14, width: at, height: 14, fill: 'url(#shade-low)' }, scale);
  drawn('rect', { x: 0, y: 14, width: at, height: 14, fill: 'url(#hatch)' }, scale);
  drawn('rect', { x: at, y: 14, width: 206 - at, height: 14, fill: 'url(#shade-high)' }, scale);
  drawn('rect', { x: 210, y: 14, width: 30, height: 14, fill: 'var(--body)' }, scale);
  if (limit) drawn('path', { d: `M${at} 9V33` }, scale);
  const word = (x, y, text, anchor) => {
    drawn('text', { x, y, 'text-anchor': anchor }, scale).textContent = text;
  };
  word(0, 42, '0', 'start');
  word(206, 42, String(Number(high.toPrecision(3))), 'end');
  word(240, 42, 'more', 'end');
  if (limit) word(at, 7, String(Number(limit.value.toPrecision(3))), 'middle');
}
