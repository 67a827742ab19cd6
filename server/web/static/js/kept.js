// What is entered on a device without a network: rounds and job sheets. It is kept in the device's own database first and sent from there,
// oldest first, a grade 4 before all else and a signature after what it stands under; it goes from the device only when the server has
// said that it has it.
window.keptOnDevice = async ({ facts: factsAt, plant, files: filesAt = '', sent = async () => {} }) => {
  if (!window.indexedDB || !navigator.locks) return null;
  const shelf = 'carryside-rounds';
  const on = { facts: null, since: 0, told: '' }; // what travels with the page; no network since; what is said to the person

  // ---- the device's database
  const wait = r => new Promise((ok, no) => { r.onsuccess = () => ok(r.result); r.onerror = () => no(r.error); });
  const opening = indexedDB.open('carryside-rounds', 1);
  opening.onupgradeneeded = () => {
    opening.result.createObjectStore('entries', { keyPath: 'client_id' });
    opening.result.createObjectStore('facts');
  };
  let db;
  try { db = await wait(opening); } catch { return null; }
  const finished = tx => new Promise((ok, no) => { tx.oncomplete = ok; tx.onabort = tx.onerror = () => no(tx.error); });
  const all = () => wait(db.transaction('entries').objectStore('entries').getAll());
  const fact = name => wait(db.transaction('facts').objectStore('facts').get(name));
  const put = async (store, value, key) => {
    const tx = db.transaction(store, 'readwrite', { durability: 'strict' });
    key === undefined ? tx.objectStore(store).put(value) : tx.objectStore(store).put(value, key);
    await finished(tx);
  };
  // alter reads an entry and writes it in one transaction; what alters it returns null to take it away.
  const alter = async (id, how) => {
    const tx = db.transaction('entries', 'readwrite', { durability: 'strict' });
    const store = tx.objectStore('entries');
    const held = await wait(store.get(id));
    const next = held && how(held);
    if (next) store.put(next); else if (held) store.delete(id);
    await finished(tx);
  };
  const wipe = async () => {
    const tx = db.transaction('entries', 'readwrite');
    tx.objectStore('entries').clear();
    await finished(tx);
    await caches.delete(shelf);
  };
  const id = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), b => b.toString(16).padStart(2, '0')).join('');
  let device = await fact('device');
  if (!device) { device = id(); await put('facts', device, 'device'); }

  // ---- what travels with the page
  const fetchFacts = async () => {
    const answer = await fetch(factsAt + '?device=' + device + '&now=' + Date.now(), { headers: { Accept: 'application/json' }, cache: 'no-store' });
    if (!answer.ok || answer.redirected) return;
    const copy = answer.clone();
    const got = await answer.json();
    if (answer.headers.get('X-Kept')) { on.facts = got; on.since = on.since || Date.now(); return; }
    if (got.ended) { await wipe(); on.facts = { ...got, may: false }; on.told = 'This phone was ended: what it kept unsent is wiped, and nothing is taken from it.'; return; }
    on.facts = got;
    on.since = 0;
    await put('facts', Date.now() - got.now, 'offset');
    await keepPages(copy);
  };
  // keepPages lays the page, its files and its facts on the phone's shelf. The copy of the facts carries a mark, so that its old
  // time is not taken for the server's.
  const keepPages = async answer => {
    const c = await caches.open(shelf);
    const marked = new Response(await answer.blob(), { headers: { 'Content-Type': 'application/json', 'X-Kept': 'yes' } });
    await c.put(factsAt, marked);
    const page = await fetch(location.pathname, { cache: 'no-store' });
    if (page.ok && !page.redirected) await c.put(location.pathname, page);
    const files = new Set(performance.getEntriesByType('resource').map(e => new URL(e.name).pathname).filter(p => p.startsWith('/static/')));
    document.querySelectorAll('link[href^="/static/"],script[src^="/static/"]').forEach(e => files.add(e.getAttribute('href') || e.getAttribute('src')));
    for (const f of files) if (!await c.match(f)) await c.add(f);
  };

  // ---- sending
  const first = (a, b) => (b.grade === 4) - (a.grade === 4) || a.device_at - b.device_at;
  const signs = e => e.what === 'signature';
  const mine = async () => (await all()).filter(e => e.plant === plant && on.facts && e.person === on.facts.person).sort(first);
  const sendPhotos = async (e, finding) => {
    const to = e.files_to || filesAt + '/' + finding + '/files';
    for (const [i, photo] of e.photos.entries()) {
      if (photo.sent) continue;
      const form = new FormData();
      form.append('file', photo.blob, (e.what ? 'sheet-' : 'round-') + e.client_id.slice(0, 8) + '-' + (i + 1) + '.jpg');
      const answer = await fetch(to, { method: 'POST', body: form });
      if (answer.status === 422) throw new Error('A photo was refused. Take it again, or take it out.');
      if (!answer.ok || answer.url.includes('/signin')) throw new TypeError('not sent');
      await alter(e.client_id, held => { held.photos[i].sent = true; return held; });
    }
  };
  const sendOne = async e => {
    const { photos, kept: state, words, says, name, url, files_to, plant: p, sent_revision, ...body } = e;
    const answer = await fetch(url, { method: 'POST', headers: { 'Content-Type': 'application/json', Accept: 'application/json' },
      body: JSON.stringify({ ...body, device, device_name: navigator.platform || 'phone', device_now: Date.now() }) });
    if (answer.redirected || !(answer.headers.get('Content-Type') || '').includes('json')) {
      if (answer.status === 403 || answer.status === 404) return { result: 'refused', words: 'This may not be recorded here any more with your grant; it stays on this phone.' };
      throw new TypeError(answer.redirected ? 'Sign in again; what is kept here is sent then.' : 'not sent');
    }
    const said = await answer.json();
    if (!said.result) throw new TypeError('not sent');
    return said;
  };
  const drain = () => navigator.locks.request('carryside-rounds-send', async () => {
    if (!on.facts) return;
    for (const e of await mine()) {
      if (signs(e) && (await mine()).some(k => k.url === e.url && !signs(k) && k.device_at <= e.device_at)) continue; // what it stands under goes first
      if (e.kept === 'refused' && e.sent_revision === e.revision) continue;
      try {
        const said = await sendOne(e);
        on.since = 0;
        if (said.result === 'ended') { await wipe(); on.facts.may = false; on.told = said.words; break; }
        if (said.result === 'refused') {
          await alter(e.client_id, held => ({ ...held, kept: 'refused', words: said.words, sent_revision: e.revision }));
          continue;
        }
        if (said.result === 'ask' || signs(e)) on.told = said.words;
        try { await sendPhotos(e, said.finding); } catch (lost) {
          if (lost instanceof TypeError) throw lost;
          await alter(e.client_id, held => ({ ...held, kept: 'refused', words: lost.message, sent_revision: e.revision }));
          continue;
        }
        // What was altered or photographed meanwhile stays and goes next.
        await alter(e.client_id, held => held.revision > e.revision || held.photos.some(p => !p.sent) ? { ...held, kept: '', words: '' } : null);
        await sent(e);
      } catch (lost) {
        on.since = on.since || Date.now();
        if (!(lost instanceof TypeError)) on.told = String(lost.message);
        else if (lost.message.startsWith('Sign in')) on.told = lost.message;
        break;
      }
    }
  });

  // ---- the page
  const el = (tag, attrs = {}, ...inner) => {
    const e = document.createElement(tag);
    for (const [k, v] of Object.entries(attrs)) k.startsWith('on') ? e.addEventListener(k.slice(2), v) : v === true ? e.setAttribute(k, '') : v !== false && e.setAttribute(k, v);
    e.append(...inner);
    return e;
  };
  const clock = ms => new Date(ms).toLocaleTimeString([], { hour: '2-digit', minute: '2-digit', hour12: false });

  // shrink makes a picture small enough to keep many of them.
  const shrink = async file => {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, 1600 / Math.max(picture.width, picture.height));
    const canvas = el('canvas', { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
    canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
    return new Promise(ok => canvas.toBlob(ok, 'image/jpeg', 0.8));
  };

  // tell says above the page how much is kept and what is wrong.
  const tell = (queue, kept, here) => {
    const others = kept.length - here.length;
    queue.hidden = !kept.length && !on.told;
    queue.replaceChildren();
    if (kept.length) queue.append(el('b', { 'data-count': kept.length }, kept.length + ' kept on this phone, not sent yet. '));
    if (kept.length) queue.append((on.since ? 'No network since ' + clock(on.since) + '. ' : '') + 'They go by themselves, each once. ' + (others ? others + ' of another person or plant go when that is open. ' : ''));
    if (on.told) queue.append(el('span', { class: 'wrong' }, on.told));
  };
  // begin lets the device open the page alone, and sends whenever there is a network again.
  const begin = async (draw, busy) => {
    const again = async () => {
      try { await fetchFacts(); } catch { on.since = on.since || Date.now(); }
      await drain();
      await draw();
    };
    if (navigator.serviceWorker) {
      try { await navigator.serviceWorker.register('/round-worker.js', { scope: '/' }); } catch { on.told = 'This browser keeps no page open without a network. Keep this page open while you are away.'; }
    }
    window.addEventListener('online', again);
    document.addEventListener('visibilitychange', () => { if (!document.hidden) drain().then(draw); });
    setInterval(async () => { if ((await mine()).length && !busy()) { await drain(); await draw(); } }, 15000);
    await again();
  };
  return { on, all, mine, fact, put, alter, id, first, drain, el, clock, shrink, tell, begin };
};
