// What the record says about what is heard.
import { el, get, getText, guard, learner, picture } from './api.js';

const percent = (x) => `${Math.round(100 * x)} %`;

/** bar draws an accuracy with its 95 % interval: a box from low to high, a stroke at what was reached. */
function bar(score) {
  const ns = 'http://www.w3.org/2000/svg';
  const svg = document.createElementNS(ns, 'svg');
  const set = (e, a) => { for (const [k, v] of Object.entries(a)) e.setAttribute(k, v); svg.append(e); };
  svg.setAttribute('viewBox', '0 0 104 14');
  svg.setAttribute('width', '104');
  svg.setAttribute('height', '14');
  svg.setAttribute('class', 'bar');
  svg.setAttribute('role', 'img');
  svg.setAttribute('aria-label', `${percent(score.accuracy)}, likely between ${percent(score.low)} and ${percent(score.high)}`);
  set(document.createElementNS(ns, 'line'), { x1: 2, y1: 7, x2: 102, y2: 7, stroke: 'currentColor', 'stroke-width': 1, opacity: 0.5 });
  set(document.createElementNS(ns, 'rect'), { x: 2 + 100 * score.low, y: 3, width: Math.max(1, 100 * (score.high - score.low)), height: 8, fill: 'currentColor', opacity: 0.35 });
  set(document.createElementNS(ns, 'line'), { x1: 2 + 100 * score.accuracy, y1: 1, x2: 2 + 100 * score.accuracy, y2: 13, stroke: 'currentColor', 'stroke-width': 2 });
  return svg;
}

const word = (t) => ({ rising: 'rising', falling: 'falling', steady: 'steady' })[t] || '';
const head = (...names) => el('thead', {}, el('tr', {}, ...names.map((n) => el('th', { scope: 'col' }, n))));
const wide = (name, ...inside) => el('div', { class: name.includes(', by ') ? 'wide many' : 'wide', tabindex: '0', role: 'region', 'aria-label': name }, el('table', {}, ...inside));

export async function showRecord() {
  const who = learner() ? `?learner=${encodeURIComponent(learner())}` : '';
  const page = await get(`/api/progress${who}`);
  const body = document.getElementById('record-body');
  const out = learner() ? [el('p', {}, `The record of ${learner()}.`)] : [];
  if (!page.groups.length && !page.claims.length) { body.replaceChildren(...out, el('p', {}, 'Nothing is answered yet. Take a drill, and it will be told here.')); return; }
  if (page.claims.length) {
    out.push(el('h3', {}, `Claims by ear: ${page.claims.filter((c) => c.ear === 'heard').length} of ${page.claims.length} heard`),
      wide('Claims by ear', head('claim', 'by ear', 'right'), el('tbody', {}, ...page.claims.map((c) => el('tr', {},
        el('th', { scope: 'row' }, `${c.place}: ${c.statement}`, el('span', { class: 'quiet' }, ` ${c.passage}`)), el('td', {}, c.ear ? `${c.ear} (${c.on})` : 'begun'), el('td', { class: 'number' }, `${c.right} of ${c.answers}`))))));
  }
  page.groups.forEach((g, i) => {
    const rows = (g.labels || []).map((l, k) => el('tr', {},
      el('th', { scope: 'row' }, l.label),
      el('td', { class: 'number' }, `${l.total.right} of ${l.total.asked}`),
      el('td', {}, bar(l.total)),
      el('td', {}, word(l.trend)),
      el('td', { class: 'due' }, page.due[i][k]),
      el('td', {}, (l.confusions || []).map((c) => `${c.given || 'nothing'} (${c.count})`).join(', '))));
    out.push(el('h3', {}, `${page.headings[i]}: ${g.total.right} of ${g.total.asked} right`));
    if (g.words.length) out.push(el('ul', {}, ...g.words.map((w) => el('li', {}, w))));
    out.push(wide(page.headings[i], head('what sounded', 'right', 'the range it lies in', 'trend', 'due', 'taken for'), el('tbody', {}, ...rows)));
  });
  if (page.sittings && page.sittings.length) {
    out.push(el('h3', {}, 'Last drills'), wide('Last drills', head('when', 'what', 'right'),
      el('tbody', {}, ...page.sittings.slice(0, 15).map((s, i) => el('tr', {}, el('td', {}, new Date(s.started).toLocaleString()), el('td', {}, `${page.what[i]}${s.source ? `; ${s.source}` : ''}`), el('td', { class: 'number' }, `${s.score.right} of ${s.score.asked}`))))));
  }
  const box = el('div', { class: 'paper plot', tabindex: '0', role: 'group', 'aria-label': 'Plots', hidden: true });
  const draw = el('button', { type: 'button', onclick: guard(async () => {
    picture(box, await getText(`/api/progress/picture${who}`));
    box.hidden = false;
    draw.hidden = true;
    box.focus();
  }) }, 'Draw it: shares, weeks, what was said for what');
  if (page.groups.length) out.push(el('div', { class: 'row' }, draw), box);
  body.replaceChildren(...out);
}
