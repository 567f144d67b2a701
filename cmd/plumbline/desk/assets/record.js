// What the record says about what is heard.
import { el, get } from './api.js';

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

export async function showRecord() {
  const page = await get('/api/progress');
  const body = document.getElementById('record-body');
  const sum = page.Summary;
  if (!sum.groups || !sum.groups.length) { body.replaceChildren(el('p', {}, 'Nothing is answered yet. Take a drill, and it will be told here.')); return; }
  const out = [];
  for (const g of sum.groups) {
    const rows = (g.labels || []).map((l) => el('tr', {},
      el('th', { scope: 'row' }, l.label),
      el('td', { class: 'number' }, `${l.recent.right} of ${l.recent.asked}`),
      el('td', {}, bar(l.recent)),
      el('td', {}, (l.confusions || []).map((c) => `${c.given || 'nothing'} (${c.count})`).join(', '))));
    out.push(el('h3', {}, `${g.kind}, by ${g.mode}`), el('table', {}, el('thead', {}, el('tr', {}, el('th', { scope: 'col' }, 'what sounded'), el('th', { scope: 'col' }, 'right, lately'), el('th', { scope: 'col' }, 'how sure'), el('th', { scope: 'col' }, 'taken for'))), el('tbody', {}, ...rows)));
  }
  if (page.Sittings && page.Sittings.length) {
    out.push(el('h3', {}, 'Last drills'), el('table', {}, el('thead', {}, el('tr', {}, el('th', { scope: 'col' }, 'when'), el('th', { scope: 'col' }, 'what'), el('th', { scope: 'col' }, 'right'))),
      el('tbody', {}, ...page.Sittings.slice(0, 15).map((s) => el('tr', {}, el('td', {}, new Date(s.started).toLocaleString()), el('td', {}, `${s.kind}, by ${s.mode}${s.source ? `, ${s.source}` : ''}`), el('td', { class: 'number' }, `${s.score.right} of ${s.score.asked}`))))));
  }
  body.replaceChildren(...out);
}
