// A round on the phone. What is entered is kept in the phone's own database first and sent from there, oldest first, a grade 4
// before all else; it goes from the phone only when the server has said that it has it.
(async () => {
  const root = document.querySelector('[data-walk]');
  if (!root || !window.indexedDB || !navigator.locks) return;
  const live = root.querySelector('[data-live]');
  const queue = root.querySelector('[data-queue]');
  const { points: pointsAt, send: sendAt, files: filesAt, round, plant } = root.dataset;
  const shelf = 'carryside-rounds';

  // ---- the phone's database
  const wait = r => new Promise((ok, no) => { r.onsuccess = () => ok(r.result); r.onerror = () => no(r.error); });
  const opening = indexedDB.open('carryside-rounds', 1);
  opening.onupgradeneeded = () => {
    opening.result.createObjectStore('entries', { keyPath: 'client_id' });
    opening.result.createObjectStore('facts');
  };
  let db;
  try { db = await wait(opening); } catch { return; }
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

  // ---- what travels with the round
  let facts = null;
  let since = 0; // no network since
  let told = '';
  const fetchFacts = async () => {
    const answer = await fetch(pointsAt + '?device=' + device + '&now=' + Date.now(), { headers: { Accept: 'application/json' }, cache: 'no-store' });
    if (!answer.ok || answer.redirected) return;
    const copy = answer.clone();
    const got = await answer.json();
    if (answer.headers.get('X-Kept')) { facts = got; since = since || Date.now(); return; }
    if (got.ended) { await wipe(); facts = { ...got, may: false }; told = 'This phone was ended: what it kept unsent is wiped, and nothing is taken from it.'; return; }
    facts = got;
    since = 0;
    await put('facts', Date.now() - got.now, 'offset');
    await keepPages(copy);
  };
  // keepPages lays the page, its files and its facts on the phone's shelf. The copy of the facts carries a mark, so that its old
  // time is not taken for the server's.
  const keepPages = async answer => {
    const c = await caches.open(shelf);
    const marked = new Response(await answer.blob(), { headers: { 'Content-Type': 'application/json', 'X-Kept': 'yes' } });
    await c.put(pointsAt, marked);
    const page = await fetch(location.pathname, { cache: 'no-store' });
    if (page.ok && !page.redirected) await c.put(location.pathname, page);
    const files = new Set(performance.getEntriesByType('resource').map(e => new URL(e.name).pathname).filter(p => p.startsWith('/static/')));
    document.querySelectorAll('link[href^="/static/"],script[src^="/static/"]').forEach(e => files.add(e.getAttribute('href') || e.getAttribute('src')));
    for (const f of files) if (!await c.match(f)) await c.add(f);
  };

  // ---- sending
  const first = (a, b) => (b.grade === 4) - (a.grade === 4) || a.device_at - b.device_at;
  const mine = async () => (await all()).filter(e => e.plant === plant && facts && e.person === facts.person).sort(first);
  const sendPhotos = async (e, finding) => {
    for (const [i, photo] of e.photos.entries()) {
      if (photo.sent) continue;
      const form = new FormData();
      form.append('file', photo.blob, 'round-' + e.client_id.slice(0, 8) + '-' + (i + 1) + '.jpg');
      const answer = await fetch(filesAt + '/' + finding + '/files', { method: 'POST', body: form });
      if (answer.status === 422) throw new Error('A photo was refused. Take it again, or take it out.');
      if (!answer.ok || answer.url.includes('/signin')) throw new TypeError('not sent');
      await alter(e.client_id, held => { held.photos[i].sent = true; return held; });
    }
  };
  const sendOne = async e => {
    const { photos, state, words, name, url, plant: p, sent_revision, ...body } = e;
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
    if (!facts) return;
    for (const e of await mine()) {
      if (e.state === 'refused' && e.sent_revision === e.revision) continue;
      try {
        const said = await sendOne(e);
        since = 0;
        if (said.result === 'ended') { await wipe(); facts.may = false; told = said.words; break; }
        if (said.result === 'refused') {
          await alter(e.client_id, held => ({ ...held, state: 'refused', words: said.words, sent_revision: e.revision }));
          continue;
        }
        if (said.result === 'ask') told = said.words;
        try { await sendPhotos(e, said.finding); } catch (lost) {
          if (lost instanceof TypeError) throw lost;
          await alter(e.client_id, held => ({ ...held, state: 'refused', words: lost.message, sent_revision: e.revision }));
          continue;
        }
        // What was altered or photographed meanwhile stays and goes next.
        await alter(e.client_id, held => held.revision > e.revision || held.photos.some(p => !p.sent) ? { ...held, state: '', words: '' } : null);
        await put('facts', Date.now(), 'seen ' + round + ' ' + e.key);
      } catch (lost) {
        since = since || Date.now();
        if (!(lost instanceof TypeError)) told = String(lost.message);
        else if (lost.message.startsWith('Sign in')) told = lost.message;
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
  const measureOf = q => facts.measures.find(m => m.quantity === q);
  const says = e => e.name + ', ' + (e.nothing ? 'nothing found' : e.category + (e.grade === null ? '' : ', grade ' + e.grade)) +
    (e.quantity ? ', ' + e.value + ' ' + measureOf(e.quantity)?.sign : '') + (e.photos.length ? ', ' + e.photos.length + ' photo' + (e.photos.length > 1 ? 's' : '') : '') + ', ' + clock(e.device_at);
  let at = null; // point looked at
  let draft = null;

  const blank = p => ({ client_id: id(), revision: 0, key: p.key, name: p.name, nothing: true, running: null, category: '', grade: null, quantity: '', value: '', text: '',
    called_who: '', called_at: null, photos: [], state: '', words: '', plant, url: sendAt });
  const choose = (name, value, now, set, ...words) => el('label', { class: 'big' },
    el('input', { type: 'radio', name, value, checked: now, onchange: () => { set(); draw(); } }), ...words);

  const shrink = async file => {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, 1600 / Math.max(picture.width, picture.height));
    const canvas = el('canvas', { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
    canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
    return new Promise(ok => canvas.toBlob(ok, 'image/jpeg', 0.8));
  };
  const addPhoto = async ev => {
    for (const file of ev.target.files) {
      try { draft.photos.push({ blob: await shrink(file), sent: false }); told = ''; } catch { told = 'This file is no picture this phone can read; nothing was added.'; }
    }
    draw();
  };
  const keep = async ev => {
    ev.preventDefault();
    if (!draft.nothing && !draft.category) { told = 'Choose the kind of finding.'; draw(); return; }
    if (!draft.nothing && draft.grade === null && !draft.quantity && !draft.text) { told = 'Say what was found: a grade, a measurement or a few words.'; draw(); return; }
    if (draft.quantity && !Number.isFinite(Number(draft.value.replace(',', '.')) || NaN) && draft.value !== '0') { told = 'Give the measured value as a number.'; draw(); return; }
    const offset = await fact('offset');
    const e = { ...draft, value: draft.quantity ? draft.value.replace(',', '.') : '', grade: draft.nothing ? null : draft.grade, revision: draft.revision + 1, person: facts.person,
      device_at: draft.device_at || Date.now(), offset: draft.device_at ? draft.offset : offset ?? null, state: '', words: '' };
    try { await put('entries', e); } catch { told = 'This phone has no room left: it is NOT kept. Note it down and tell your lead.'; draw(); return; }
    told = '';
    const walked = facts.points.findIndex(p => p.key === e.key);
    await put('facts', Date.now(), 'seen ' + round + ' ' + e.key);
    open(facts.points[walked + 1] || null);
    await draw();
    window.scrollTo(0, 0);
    await drain();
    if (e.grade === 4 && !(await mine()).some(k => k.client_id === e.client_id)) told = 'Grade 4 is sent; Today leads with it until somebody answers. Call by the site\u2019s rules all the same.';
    await draw();
  };
  const open = p => { at = p; draft = p && blank(p); };

  // what stands beside a measured value: how it compares with the last one, and its limit
  const atPoint = (p, quantity) => (p.measured || []).find(q => q.quantity === quantity);
  const lastOf = (p, quantity) => { const last = atPoint(p, quantity)?.last; return last === undefined ? '0' : String(last); };
  const besideOf = (p, m) => {
    const was = atPoint(p, m.quantity);
    if (!was) return '';
    const by = Math.round((Number(draft.value.replace(',', '.')) - was.last) * 100) / 100;
    const last = was.last === undefined ? '' : 'Last ' + was.last + ' ' + m.sign + ' on ' + was.on + (Number.isFinite(by) ? by === 0 ? ', the same now' : ', ' + Math.abs(by) + (by > 0 ? ' more now' : ' less now') : '');
    return [last, was.limit].filter(Boolean).join('. ');
  };

  const form = p => {
    const m = draft.quantity && measureOf(draft.quantity);
    const nudge = by => { draft.value = String(Math.max(0, Math.round((Number(draft.value.replace(',', '.')) + by * m.step) * 100) / 100)); draw(); };
    const kind = facts.kinds.find(k => k.name === draft.category);
    const means = (kind || facts).grades;
    const beside = m && besideOf(p, m);
    const rest = draft.nothing ? [] : [
      el('label', { class: 'lg', for: 'kind' }, 'Kind of finding'),
      el('select', { id: 'kind', onchange: ev => { draft.category = ev.target.value; draw(); } },
        el('option', { value: '' }, 'choose one'), ...facts.kinds.map(k => el('option', { value: k.name, selected: k.name === draft.category }, k.name)),
        ...(draft.category && !kind ? [el('option', { value: draft.category, selected: true }, draft.category)] : [])),
      el('fieldset', { class: 'five' }, el('legend', {}, 'Grade' + (draft.grade === null ? '' : ' ' + draft.grade + ': ' + means[draft.grade])),
        ...means.map((g, i) => choose('grade', i, draft.grade === i, () => { draft.grade = i; }, el('b', {}, String(i)), el('span', { class: 'vh' }, g)))),
      el('label', { class: 'lg', for: 'measured' }, 'Measured' + (kind?.quantity ? ', usually the ' + kind.quantity : '')),
      el('select', { id: 'measured', onchange: ev => { draft.quantity = ev.target.value; draft.value = lastOf(p, draft.quantity); draw(); } }, el('option', { value: '' }, 'nothing'),
        ...facts.measures.map(q => el('option', { value: q.quantity, selected: q.quantity === draft.quantity }, q.quantity + ', ' + q.sign))),
      ...(m ? [el('div', { class: 'nudge' }, el('button', { type: 'button', 'aria-label': 'less, ' + m.step, onclick: () => nudge(-1) }, '−'),
        el('input', { type: 'text', inputmode: 'decimal', 'aria-label': draft.quantity + ' in ' + m.sign, value: draft.value, oninput: ev => { draft.value = ev.target.value.trim(); const b = live.querySelector('[data-beside]'); if (b) b.textContent = besideOf(p, m); } }),
        el('button', { type: 'button', 'aria-label': 'more, ' + m.step, onclick: () => nudge(1) }, '+')),
        ...(beside ? [el('p', { class: 'small dim center', 'data-beside': true }, beside)] : [])] : []),
      el('label', { class: 'lg', for: 'words' }, 'In words'),
      el('textarea', { id: 'words', rows: 2, oninput: ev => { draft.text = ev.target.value; } }, draft.text),
    ];
    return el('form', { 'data-entry': true, onsubmit: keep },
      el('h2', {}, p.name), el('p', { class: 'dim' }, [p.used, p.look, p.due, p.last, p.limit, p.seen].filter(Boolean).join('. ')),
      el('fieldset', { class: 'two' }, el('legend', { class: 'vh' }, 'Result'),
        choose('result', 'nothing', draft.nothing, () => { draft.nothing = true; }, 'nothing found'), choose('result', 'finding', !draft.nothing, () => { draft.nothing = false; }, 'finding')),
      el('fieldset', { class: 'two' }, el('legend', { class: 'vh' }, 'Belt'),
        choose('running', 'stopped', draft.running === false, () => { draft.running = false; }, 'stopped'), choose('running', 'running', draft.running === true, () => { draft.running = true; }, 'running')),
      ...rest,
      el('label', { class: 'pbtn alt' }, el('input', { type: 'file', accept: 'image/*', capture: 'environment', 'aria-label': 'Add a photo', onchange: addPhoto }), 'Add a photo, ' + draft.photos.length + ' taken'),
      el('div', { class: 'foot' }, el('button', { class: 'pbtn', 'data-keep': true }, 'Keep this, next point')));
  };

  const full = e => {
    const numbers = facts.numbers.map(n => el('a', { class: 'pbtn', href: 'tel:' + n.phone.replace(/[^+0-9]/g, '') }, 'Call ' + n.phone + ', ' + n.name + (n.duty ? ', ' + n.duty : '')));
    const who = el('input', { type: 'text', id: 'called', value: e.called_who });
    const call = async () => {
      if (!who.value.trim()) { told = 'Say whom you called.'; draw(); return; }
      await alter(e.client_id, held => ({ ...held, called_who: who.value.trim(), called_at: Date.now(), revision: held.revision + 1 }));
      told = 'The call is noted, ' + clock(Date.now()) + '.';
      await draw(); await drain(); await draw();
    };
    return el('div', { class: 'gravest', role: 'alertdialog', 'aria-labelledby': 'gravest', 'data-gravest': true },
      el('h2', { id: 'gravest' }, 'Nobody has been told yet'), el('p', {}, e.name + ', grade 4: ' + facts.grades[4] + '. This phone could not send it.'),
      el('p', {}, 'Call now, and follow the site\u2019s rules. ' + (facts.rules || '')),
      ...(numbers.length ? numbers : [el('p', {}, 'No number is kept for this plant: call by the site\u2019s own list.')]),
      ...(told ? [el('p', { class: 'wrong' }, told)] : []),
      el('label', { class: 'lg', for: 'called' }, 'Whom you called'), who,
      el('button', { class: 'pbtn', type: 'button', 'data-called': true, onclick: call }, 'I have called'));
  };

  const draw = async () => {
    const kept = await all();
    const here = kept.filter(e => e.plant === plant && facts && e.person === facts.person).sort(first);
    const others = kept.length - here.length;
    queue.hidden = !kept.length && !told;
    queue.replaceChildren();
    if (kept.length) queue.append(el('b', { 'data-count': kept.length }, kept.length + ' kept on this phone, not sent yet. '));
    if (kept.length) queue.append((since ? 'No network since ' + clock(since) + '. ' : '') + 'They go by themselves, each once. ' + (others ? others + ' of another person or plant go when that is open. ' : ''));
    if (told) queue.append(el('span', { class: 'wrong' }, told));
    if (!facts) { live.replaceChildren(el('p', {}, 'This round was not opened with a network on this phone yet.')); return; }
    const grave = here.find(e => e.grade === 4 && !e.called_who);
    const seen = new Set(here.map(e => e.key));
    for (const p of facts.points) {
      const when = await fact('seen ' + round + ' ' + p.key);
      if (when && Date.now() - when < 12 * 3600e3) seen.add(p.key);
    }
    const focus = document.activeElement && live.contains(document.activeElement) && [document.activeElement.name, document.activeElement.value, document.activeElement.id];
    const strip = el('ul', { class: 'strip', 'aria-label': facts.points.filter(p => seen.has(p.key)).length + ' of ' + facts.points.length + ' points seen' },
      ...facts.points.map(p => el('li', { class: p === at ? 'on' : seen.has(p.key) ? 'done' : '' })));
    const waiting = here.length ? [el('h2', {}, 'Waiting to be sent'), el('ul', { class: 'rows', 'data-waiting': true }, ...here.map(e => el('li', {},
      el('button', { class: 'row', type: 'button', 'data-edit': e.client_id, onclick: () => { at = facts.points.find(p => p.key === e.key) || { key: e.key, name: e.name }; draft = { ...e, photos: [...e.photos] }; draw(); window.scrollTo(0, 0); } },
        says(e)), ...(e.words ? [el('p', { class: 'wrong' }, e.words)] : [])))), el('p', { class: 'small dim' }, 'Safe if the phone is switched off. Seen on no other screen until sent.')] : [];
    const list = [el('h2', {}, 'Points of the round'), el('ol', { class: 'rows' }, ...facts.points.map(p => el('li', {},
      facts.may ? el('button', { class: 'row', type: 'button', 'data-point': p.key, onclick: () => { open(p); draw(); window.scrollTo(0, 0); } }, p.name + (seen.has(p.key) ? ', seen' : '') + (p.due ? ', ' + p.due : '') + (p.used ? ', ' + p.used : '')) : p.name)))];
    live.replaceChildren(...(grave ? [full(grave)] : []), strip, ...(at && facts.may ? [form(at)] : []), ...waiting, ...list);
    if (focus) [...live.querySelectorAll('input,select,textarea,button')].find(x => focus[2] ? x.id === focus[2] : focus[0] && x.name === focus[0] && x.value === focus[1])?.focus();
  };

  const again = async () => {
    try { await fetchFacts(); } catch { since = since || Date.now(); }
    await drain();
    await draw();
  };
  root.querySelector('[data-plain]').hidden = true;
  if (navigator.serviceWorker) {
    try { await navigator.serviceWorker.register('/round-worker.js', { scope: '/' }); } catch { told = 'This browser keeps no page open without a network. Keep this page open while you walk.'; }
  }
  window.addEventListener('online', again);
  document.addEventListener('visibilitychange', () => { if (!document.hidden) drain().then(draw); });
  setInterval(async () => { if ((await mine()).length && !live.querySelector('form[data-entry]:focus-within')) { await drain(); await draw(); } }, 15000);
  await again();
  if (facts && !at) open(facts.points.find(p => p.due) || facts.points[0] || null);
  await draw();
  root.dataset.ready = 'yes';
})();
