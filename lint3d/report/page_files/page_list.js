// Which results are listed? Filters, the list, and what stands under the chosen one.
'use strict';

function made(name, className, text, parent) {
  const thing = document.createElement(name);
  if (className) thing.className = className;
  if (text !== undefined) thing.textContent = text;
  if (parent) parent.append(thing);
  return thing;
}

function markOf(kind) {
  const sign = document.createElementNS(SVG, 'svg');
  sign.setAttribute('class', 'mark');
  sign.setAttribute('aria-hidden', 'true');
  drawn('use', { href: `#mark-${kind}` }, sign);
  return sign;
}

class List {
  constructor(data, choose, changed) {
    this.results = data.results;
    this.marks = data.marks;
    this.choose = choose;
    this.changed = changed;
    this.list = document.getElementById('list');
    this.found = document.getElementById('found');
    this.rows = new Map();
    this.chosen = null;
    this.kinds = Object.keys(data.marks).filter((kind) => this.results.some((r) => r.kind === kind));
    this.boxes = this.kinds.map((kind) => this.box(kind));
    this.family = this.choice('by-family', 'all', this.results.map((r) => r.family));
    this.body = this.choice('by-body', 'all', this.results.map(List.subject));
    this.fill();
  }

  static subject(result) {
    return result.body ? `${result.body} (${result.file})` : result.file || 'the run';
  }

  box(kind) {
    const label = made('label', kind, undefined, document.getElementById('by-kind'));
    const box = made('input', '', undefined, label);
    box.type = 'checkbox';
    box.value = kind;
    box.checked = !['pass', 'notApplicable', 'informational'].includes(kind);
    label.append(markOf(kind), ` ${this.marks[kind]}`);
    box.addEventListener('change', () => this.fill());
    return box;
  }

  choice(id, all, values) {
    const select = document.getElementById(id);
    for (const value of [all, ...[...new Set(values)].sort()]) {
      const option = made('option', '', value, select);
      option.value = value === all ? '' : value;
    }
    select.addEventListener('change', () => this.fill());
    return select;
  }

  get shown() {
    const kinds = this.boxes.filter((box) => box.checked).map((box) => box.value);
    return this.results.filter((result) => kinds.includes(result.kind)
      && (!this.family.value || result.family === this.family.value)
      && (!this.body.value || List.subject(result) === this.body.value));
  }

  fill() {
    const shown = this.shown;
    this.list.replaceChildren();
    this.rows.clear();
    for (const result of shown) this.list.append(this.row(result));
    const of = this.results.length;
    this.found.textContent = `${shown.length} of ${of} result${of === 1 ? '' : 's'} listed`;
    if (this.chosen && !this.rows.has(this.chosen)) this.choose(null);
    else this.mark(this.chosen);
    this.changed();
  }

  row(result) {
    const row = made('li', result.kind);
    const button = made('button', '', undefined, row);
    button.type = 'button';
    button.dataset.key = result.key;
    button.append(markOf(result.kind));
    made('span', 'rule', result.rule, button);
    const figures = made('span', 'figures', undefined, button);
    if (result.measured !== '–') made('b', '', result.measured, figures);
    if (result.required) made('span', 'asked', `required: ${result.required}`, figures);
    const body = made('span', 'body', '', button);
    made('span', 'word', this.marks[result.kind], body);
    body.append(` ${[result.state, List.subject(result)].filter(Boolean).join(' · ')}`);
    button.addEventListener('click', () => this.choose(result === this.chosen ? null : result));
    this.rows.set(result, row);
    return row;
  }

  // Shows which result is chosen, with everything that is to say of it.
  mark(chosen) {
    this.chosen = chosen;
    for (const [result, row] of this.rows) {
      row.classList.toggle('chosen', result === chosen);
      row.firstElementChild.setAttribute('aria-expanded', String(result === chosen));
      while (row.children.length > 1) row.lastElementChild.remove();
    }
    const row = chosen && this.rows.get(chosen);
    if (!row) return;
    const detail = made('div', 'detail', undefined, row);
    for (const text of [chosen.message, chosen.other, chosen.remarks]) if (text) made('p', '', text, detail);
    if (chosen.remedy) made('p', '', `Remedy: ${chosen.remedy}`, detail);
    for (const text of [chosen.accepted, chosen.since]) if (text) made('p', '', text, detail);
    const small = [
      chosen.title && chosen.title !== chosen.message ? chosen.title : '',
      chosen.source ? `Source of the limit: ${chosen.source}.` : '',
      chosen.where ? `At ${chosen.where} mm.` : '',
      chosen.focus ? '' : 'It has no place of its own on the part.',
      `Result ${chosen.key}.`,
    ].filter(Boolean).join(' ');
    made('p', 'small', small, detail);
    row.scrollIntoView({ block: 'nearest' });
  }

  step(way) {
    const shown = this.shown;
    if (!shown.length) return;
    const before = shown.indexOf(this.chosen);
    const next = shown[before < 0 && way < 0 ? shown.length - 1 : (before + way + shown.length) % shown.length];
    if (this.list.contains(document.activeElement)) this.rows.get(next).firstElementChild.focus();
    this.choose(next);
  }

  // Up and down walk along the list.
  key(event) {
    const way = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!way) return false;
    const buttons = [...this.list.querySelectorAll('li > button')];
    const next = buttons[buttons.indexOf(document.activeElement) + way];
    if (next) next.focus();
    return true;
  }
}
