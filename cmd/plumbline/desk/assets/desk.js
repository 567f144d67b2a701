import { get, guard } from './api.js';
import { check, setupMusic, show } from './music.js';
import { setupDrill } from './drill.js';
import { showRecord } from './record.js';

const rooms = ['music', 'drill', 'record'];

function go() {
  const wanted = location.hash.slice(1).split('=')[0];
  const room = rooms.includes(wanted) ? wanted : 'music';
  for (const r of rooms) document.getElementById(r).hidden = r !== room;
  for (const a of document.querySelectorAll('nav a')) {
    if (a.dataset.room === room) a.setAttribute('aria-current', 'page'); else a.removeAttribute('aria-current');
  }
  document.title = document.querySelector(`#${room} h2`).textContent + ' – Plumbline';
  if (room === 'record') guard(showRecord)();
  if (room === 'music') guard(check)(); // the ear may have been asked meanwhile
}

addEventListener('hashchange', () => { go(); document.getElementById('main').focus(); });

guard(async () => {
  const start = await get('/api/start');
  setupMusic(start);
  setupDrill(start);
  go();
  // What was open in this tab before it was loaded again; else what the program was called with.
  const before = sessionStorage.getItem('passage');
  if (before) {
    try { await show(await get(`/api/passage/${before}`)); return; } catch { sessionStorage.removeItem('passage'); }
  }
  if (start.passage) await show(start.passage);
})();
