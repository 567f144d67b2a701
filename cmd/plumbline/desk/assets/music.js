// The passage on staves, what is told about a place, its sound, and the claims.
import { el, get, getText, guard, learner, picture, post, postRaw, sound } from './api.js';
import { askEar } from './drill.js';

const $ = (id) => document.getElementById(id);
let passage = null;
let first = 0;
let last = 0;
let staff = null; // what the program said of the picture
let chosen = -1; // bar
let lit = ''; // the claim whose evidence is marked
let picked = []; // notes that were clicked
let forms = [];
let places = [];
let sequence = 0; // of pictures asked for

const perView = () => (innerWidth < 600 ? 4 : 8);

export const openPassage = () => passage;

export function setupMusic(start) {
  places = start.places;
  for (const p of places) $('places').append(el('option', { value: p }));
  $('file').addEventListener('change', guard(async (e) => {
    const f = e.target.files[0];
    if (f) await show(await postRaw(`/api/open?name=${encodeURIComponent(f.name)}`, f));
    e.target.value = '';
  }));
  $('example').addEventListener('click', guard(async () => { const p = await post('/api/example', {}); await show(p); }));
  $('open-paste').addEventListener('click', guard(async () => {
    await show(await postRaw('/api/open?name=pasted', $('paste').value));
    $('pasting').open = false;
  }));
  $('earlier').addEventListener('click', () => turn(-1));
  $('later').addEventListener('click', () => turn(1));
  for (const id of ['from', 'to']) $(id).addEventListener('change', range);
  $('readings').addEventListener('change', draw);
  $('staff').addEventListener('click', clicked);
  $('staff').addEventListener('keydown', keyed);
  $('hear').addEventListener('submit', (e) => { e.preventDefault(); guard(hear)(); });
  $('stop').addEventListener('click', () => $('player').pause());
  setupClaims();
  let wait = 0;
  addEventListener('resize', () => { clearTimeout(wait); wait = setTimeout(() => { if (passage) draw(); }, 200); });
}

/** show puts an opened passage on the page. */
export async function show(p) {
  passage = p;
  sessionStorage.setItem('passage', p.id);
  first = 0; last = Math.min(perView(), p.bars.length) - 1; chosen = -1; picked = []; lit = '';
  $('music-title').textContent = p.title || p.name;
  document.title = `${p.title || p.name} – Plumbline`;
  $('opened').hidden = false;
  $('warnings').replaceChildren(...p.warnings.slice(0, 5).map((w) => el('li', {}, w)));
  if (p.warnings.length > 5) $('warnings').append(el('li', {}, `and ${p.warnings.length - 5} more`));
  $('warnings').hidden = p.warnings.length === 0;
  $('told').replaceChildren();
  $('chosen').textContent = `${p.bars.length} bars${p.key ? `, ${p.key}` : ''}, ${p.meter}. Click a bar or a note to be told what it is.`;
  $('place').value = '';
  const kept = localStorage.getItem(`claims ${p.id}`);
  $('claims').value = kept !== null ? kept : p.claims;
  await draw();
  await Promise.all([check(), tellFirst()]);
}

function turn(by) {
  const n = last - first + 1;
  first = Math.max(0, Math.min(first + by * n, passage.bars.length - 1));
  last = Math.min(first + n - 1, passage.bars.length - 1);
  draw();
}

function range() {
  const index = (text, or) => { const i = passage.bars.indexOf(text.trim()); return i < 0 ? or : i; };
  first = index($('from').value, first);
  last = Math.max(first, index($('to').value, Math.min(first + perView() - 1, passage.bars.length - 1)));
  draw();
}

const draw = guard(async () => {
  const mine = ++sequence;
  $('from').value = passage.bars[first];
  $('to').value = passage.bars[last];
  $('earlier').disabled = first === 0;
  $('later').disabled = last === passage.bars.length - 1;
  const width = Math.max(260, $('staff').clientWidth - 18);
  const got = await post(`/api/passage/${passage.id}/staff`, { first, last, width, claim: lit, notes: picked, readings: $('readings').checked });
  if (mine !== sequence) return; // another picture has been asked for since
  staff = got;
  picture($('staff'), got.svg);
  shade();
});

/** shade shows which bar is chosen. */
function shade() {
  const svg = $('staff').querySelector('svg');
  if (!svg) return;
  svg.querySelectorAll('.bar-chosen').forEach((r) => r.remove());
  for (const b of staff.bars.filter((b) => b.bar === chosen)) {
    const r = document.createElementNS('http://www.w3.org/2000/svg', 'rect');
    for (const [k, v] of Object.entries({ x: b.x, y: b.y, width: b.w, height: b.h, class: 'bar-chosen' })) r.setAttribute(k, v);
    svg.prepend(r);
  }
}

function clicked(e) {
  const svg = $('staff').querySelector('svg');
  if (!svg) return;
  const at = new DOMPoint(e.clientX, e.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const margin = 400; // a click a little above or below a bar means it, too
  const box = staff.bars.find((b) => at.x >= b.x && at.x < b.x + b.w && at.y >= b.y - margin && at.y < b.y + b.h + margin);
  // A head that lies within a space and a half of the click is meant, the nearest of several.
  let note = null;
  let near = 150;
  for (const h of staff.heads) {
    const far = Math.hypot(h.x - at.x, h.y - at.y);
    if (far < near) { near = far; note = h; }
  }
  if (!box) return;
  picked = note ? [note.note] : [];
  choose(box.bar, note ? note.beat : '', note ? note.name : '');
}

function keyed(e) {
  const step = { ArrowRight: 1, ArrowLeft: -1 }[e.key];
  const over = { ArrowDown: 1, ArrowUp: -1 }[e.key];
  if (step) {
    e.preventDefault();
    picked = [];
    const to = chosen < 0 ? first : Math.max(0, Math.min(chosen + step, passage.bars.length - 1));
    if (to < first || to > last) { chosen = to; turn(step); }
    choose(to, '');
  } else if (over && staff) {
    e.preventDefault();
    // The notes of the chosen bar in order of time, then from low to high.
    const bar = chosen < 0 ? first : chosen;
    const notes = staff.heads.filter((h) => h.bar === bar).sort((a, b) => a.at - b.at || b.y - a.y);
    const now = notes.findIndex((h) => h.note === picked[0]);
    const n = notes[now < 0 ? (over > 0 ? 0 : notes.length - 1) : now + over];
    if (n) { picked = [n.note]; choose(bar, n.beat, n.name); }
  } else if (e.key === 'Enter' && chosen >= 0) choose(chosen, '');
}

/** choose tells what a bar, or a beat of it, is. */
const choose = guard(async (bar, beat, name) => {
  const redraw = picked.length > 0 || lit !== '';
  chosen = bar; lit = '';
  const at = `bar ${passage.bars[bar]}${beat ? ` beat ${beat}` : ''}`;
  $('place').value = at;
  $('chosen').textContent = at[0].toUpperCase() + at.slice(1) + (name ? `: ${name}` : '');
  if (redraw) await draw(); else shade();
  tell(await get(`/api/passage/${passage.id}/describe?at=${encodeURIComponent(at)}`));
});

const tellFirst = guard(async () => {
  const id = passage.id;
  const d = await get(`/api/passage/${id}/describe`);
  if (passage.id !== id || chosen >= 0) return;
  $('told').replaceChildren(
    d.facts.length ? el('p', {}, 'Worth saying first:') : '',
    el('ul', {}, ...d.facts.slice(0, 6).map((f) => el('li', {}, f.text))));
});

function tell(d) {
  const out = [];
  for (const f of d.facts.slice(0, 4)) out.push(el('p', {}, f.text));
  for (const h of (d.harmony || []).slice(0, 8)) out.push(harmony(h));
  for (const c of d.cadences || []) out.push(el('p', {}, el('strong', {}, `${c.kind}, ${c.place}`), c.why ? `: ${c.why}` : ''));
  for (const c of d.pedals || []) out.push(el('p', {}, c.text));
  for (const s of d.sonorities.slice(0, 12)) {
    const box = el('div', { class: 'sonority' }, el('p', {}, el('strong', {}, `beat ${s.beat}`), s.numeral ? `  ${s.numeral}` : '', s.function ? `, ${s.function}` : ''));
    const hands = [['left hand', s.left], ['right hand', s.right]].filter(([, h]) => h.notes.length)
      .map(([n, h]) => `${n} ${h.notes.join(' ')}${h.stack_text ? ` (${h.stack_text})` : ''}`);
    box.append(el('p', { class: 'quiet' }, hands.join('; ')));
    const list = el('dl');
    for (const r of s.readings) {
      const words = r.words && r.words !== r.label && !r.label.includes(' ') ? `${r.label}: ${r.words}` : r.label;
      list.append(el('dt', {}, words), el('dd', {}, s.notes.filter((n) => r.members[n]).map((n) => `${n} ${r.members[n]}`).join(', ')), el('dd', { class: 'quiet' }, r.why));
    }
    box.append(list);
    if (s.impostor) box.append(el('p', {}, s.impostor));
    out.push(box);
  }
  if (d.sonorities.length > 12) out.push(el('p', { class: 'quiet' }, `and ${d.sonorities.length - 12} more; click a note for its beat`));
  if (!d.sonorities.length) out.push(el('p', {}, 'Nothing sounds there.'));
  $('told').replaceChildren(...out);
}

/** harmony tells a chord in its context. */
function harmony(h) {
  const list = [...h.non_chord_tones.map((n) => `${n.note}: ${n.kind || 'not in the chord, and no rule fits'}; ${n.resolution || n.why}`), ...h.tendencies.map((t) => t.text)];
  return el('div', { class: 'sonority' },
    el('p', {}, el('strong', {}, `${h.numeral ? `${h.numeral}  ` : ''}${h.chord}`), ` from ${h.from}`, h.key ? `, in ${h.key}` : '', h.function ? `: ${h.function}` : '', h.colour ? `, ${h.colour}` : '', h.probability < 0.6 ? ' (doubtful)' : ''),
    h.why ? el('p', { class: 'quiet' }, h.why) : '',
    h.function_why ? el('p', { class: 'quiet' }, h.function_why) : '',
    h.runner_up ? el('p', { class: 'quiet' }, `Also possible: ${h.runner_up}`) : '',
    list.length ? el('ul', {}, ...list.map((t) => el('li', {}, t))) : '');
}

/** hear plays the place in the form. */
async function hear(more = {}) {
  const q = new URLSearchParams({ at: $('place').value.trim(), shape: $('shape').value, slower: $('slower').value, compare: $('without').value.replaceAll(',', ' '), stress: $('stress').value.replaceAll(',', ' '), ...more });
  await listen(`/api/passage/${passage.id}/sound?${q}`);
}

async function listen(address) {
  const url = await sound(address);
  const player = $('player');
  if (player.src) URL.revokeObjectURL(player.src);
  player.src = url;
  await player.play();
}

// Claims.

let at = -1; // form chosen in the list
let shown = []; // forms in the list
let checking = 0;

function setupClaims() {
  const box = $('claims');
  let wait = 0;
  box.addEventListener('input', () => {
    localStorage.setItem(`claims ${passage.id}`, box.value);
    clearTimeout(wait);
    wait = setTimeout(guard(check), 120);
    if (!$('forms').hidden) offer();
  });
  box.addEventListener('keydown', complete);
  $('forms').addEventListener('keydown', complete);
  for (const e of [box, $('forms')]) e.addEventListener('blur', () => setTimeout(() => { if (document.activeElement !== box && document.activeElement !== $('forms')) hideForms(); }, 150));
  $('draft').addEventListener('click', guard(async () => {
    const text = await getText(`/api/passage/${passage.id}/draft`);
    box.value = (box.value.trim() ? box.value.trimEnd() + '\n' : '') + text;
    localStorage.setItem(`claims ${passage.id}`, box.value);
    await check();
  }));
  $('save').addEventListener('click', () => {
    const a = el('a', { href: URL.createObjectURL(new Blob([box.value], { type: 'text/plain' })), download: `${passage.name.replace(/\.[^.]*$/, '')}.claims` });
    a.click();
    URL.revokeObjectURL(a.href);
  });
  $('claims-file').addEventListener('change', guard(async (e) => {
    if (e.target.files[0]) { box.value = await e.target.files[0].text(); localStorage.setItem(`claims ${passage.id}`, box.value); await check(); }
    e.target.value = '';
  }));
  guard(async () => { forms = await get('/api/forms'); })();
}

/** check asks for the verdicts of what is written. */
export async function check() {
  if (!passage) return;
  const mine = ++checking;
  const id = passage.id;
  const got = await postRaw(`/api/passage/${id}/check${learner() ? `?learner=${encodeURIComponent(learner())}` : ''}`, $('claims').value);
  if (mine !== checking || id !== passage.id) return;
  const said = [];
  const word = { holds: 'holds', arguable: 'arguable', fails: 'fails' };
  got.claims.forEach((c, i) => said.push({ line: c.line, e: el('li', { class: c.verdict },
    el('div', {},
      el('p', {}, el('span', { class: 'word' }, word[c.verdict]), ` ${c.place}: ${c.statement}`),
      el('p', { class: 'quiet' }, c.because),
      c.instead ? el('p', {}, `instead: ${c.instead}`) : '',
      c.ear ? el('p', {}, `by ear: ${c.ear}`) : ''),
    el('div', { class: 'doing' },
      el('button', { type: 'button', onclick: guard(() => showEvidence(c, got.notes[i])), 'aria-label': `Show line ${c.line} on the staff` }, 'Show'),
      el('button', { type: 'button', onclick: guard(() => { $('place').value = c.place; return hear(); }), 'aria-label': `Hear the place of line ${c.line}` }, 'Hear'),
      el('button', { type: 'button', onclick: guard(() => listen(`/api/passage/${id}/apart?claim=${encodeURIComponent(`${c.place}: ${c.statement}`)}`)), 'aria-label': `Hear the place of line ${c.line} taken apart` }, 'Apart'),
      c.verdict === 'fails' ? '' : el('button', { type: 'button', onclick: guard(() => askEar($('claims').value, c.line)), 'aria-label': `Do I hear it? Ask my ear about line ${c.line}` }, 'Ask my ear'))) }));
  for (const b of got.errors) {
    said.push({ line: b.line, e: el('li', { class: 'error' }, el('div', {}, el('p', {}, el('span', { class: 'word' }, 'not understood'), ` line ${b.line}, column ${b.column}: ${b.message}`),
      b.nearest.length ? el('p', { class: 'quiet' }, `perhaps: ${b.nearest.join('; ')}`) : '')) });
  }
  said.sort((a, b) => a.line - b.line);
  $('verdicts').replaceChildren(...said.map((s) => s.e));
  const parts = [];
  if (got.holds) parts.push(`${got.holds} ${got.holds === 1 ? 'holds' : 'hold'}`);
  if (got.arguable) parts.push(`${got.arguable} arguable`);
  if (got.fails) parts.push(`${got.fails} ${got.fails === 1 ? 'fails' : 'fail'}`);
  if (got.errors.length) parts.push(`${got.errors.length} not understood`);
  $('tally').textContent = parts.join(', ') || 'No claims yet.';
}

/** showEvidence lights the notes of a claim up on the staff. */
async function showEvidence(c, notes) {
  lit = `${c.place}: ${c.statement}`;
  picked = [];
  const number = /bars?\s+(\S+?)(?=[\s,-]|$)/.exec(c.place);
  const bar = number ? passage.bars.indexOf(number[1]) : -1;
  if (bar >= 0 && (bar < first || bar > last)) {
    const n = last - first;
    first = bar;
    last = Math.min(bar + n, passage.bars.length - 1);
  }
  chosen = -1;
  await draw();
  $('staff').scrollIntoView({ block: 'nearest' });
  $('chosen').textContent = notes.length ? `Marked: what the verdict of “${lit}” rests on.` : `No single notes stand for “${lit}”.`;
}

const lineAt = () => {
  const box = $('claims');
  const from = box.value.lastIndexOf('\n', box.selectionStart - 1) + 1;
  const to = box.value.indexOf('\n', box.selectionStart);
  return { from, to: to < 0 ? box.value.length : to, text: box.value.slice(from, box.selectionStart) };
};

function complete(e) {
  const open = !$('forms').hidden;
  if ((e.key === ' ' && e.ctrlKey) || (e.key === 'ArrowDown' && e.altKey)) { e.preventDefault(); offer(); return; }
  if (!open) return;
  if (e.key === 'Escape') { e.preventDefault(); $('claims').focus(); hideForms(); } else if (e.key === 'ArrowDown' || e.key === 'ArrowUp') {
    e.preventDefault();
    mark((at + (e.key === 'ArrowDown' ? 1 : -1) + shown.length) % shown.length);
  } else if ((e.key === 'Enter' || e.key === 'Tab') && at >= 0) { e.preventDefault(); take(shown[at]); }
}

/** offer lists the forms that fit what stands before the caret. */
function offer() {
  const { text } = lineAt();
  const colon = text.indexOf(':');
  const words = (colon < 0 ? '' : text.slice(colon + 1)).toLowerCase().split(/\s+/).filter(Boolean);
  shown = forms.flatMap((f) => [f.example.slice(f.example.indexOf(':') + 1).trim(), ...f.wordings].map((w) => ({ text: w, form: f })))
    .filter((w) => words.every((x) => w.text.toLowerCase().includes(x) || w.form.id.includes(x))).slice(0, 40);
  $('forms').replaceChildren(...shown.map((w, i) => el('li', { role: 'option', id: `form-${i}`, title: w.form.asserts, onmousedown: (e) => { e.preventDefault(); take(w); } }, w.text)));
  $('forms').hidden = shown.length === 0;
  if (shown.length) mark(0); else hideForms();
}

function mark(i) {
  at = i;
  [...$('forms').children].forEach((li, k) => li.setAttribute('aria-selected', String(k === i)));
  $('forms').children[i].scrollIntoView({ block: 'nearest' });
  for (const id of ['claims', 'forms']) $(id).setAttribute('aria-activedescendant', `form-${i}`);
}

function take(w) {
  const box = $('claims');
  const line = lineAt();
  const colon = line.text.indexOf(':');
  const place = colon < 0 ? ($('place').value.trim() || 'bar 1') : line.text.slice(0, colon);
  box.setRangeText(`${place}: ${w.text}`, line.from, line.to, 'end');
  box.focus();
  hideForms();
  box.dispatchEvent(new Event('input'));
}

function hideForms() {
  at = -1;
  $('forms').hidden = true;
  for (const id of ['claims', 'forms']) $(id).removeAttribute('aria-activedescendant');
}
