// A round on the phone: what is seen at each point, kept and sent as kept.js does it.
(async () => {
  const root = document.querySelector('[data-walk]');
  if (!root) return;
  const live = root.querySelector('[data-live]');
  const queue = root.querySelector('[data-queue]');
  const { points, send: sendAt, files, round, plant } = root.dataset;
  const kept = await window.keptOnDevice({ facts: points, plant, files, sent: async e => { if (e.key) await kept.put('facts', Date.now(), 'seen ' + round + ' ' + e.key); } });
  if (!kept) return;
  const { on, all, mine, fact, put, alter, id, first, drain, el, clock, shrink, tell, begin } = kept;

  // ---- the page
  const measureOf = q => on.facts.measures.find(m => m.quantity === q);
  const says = e => e.says || e.name + ', ' + (e.nothing ? 'nothing found' : e.category + (e.grade === null ? '' : ', grade ' + e.grade)) +
    (e.quantity ? ', ' + e.value + ' ' + measureOf(e.quantity)?.sign : '') + (e.photos.length ? ', ' + e.photos.length + ' photo' + (e.photos.length > 1 ? 's' : '') : '') + ', ' + clock(e.device_at);
  let at = null; // point looked at
  let draft = null;

  const blank = p => ({ client_id: id(), revision: 0, key: p.key, name: p.name, nothing: true, running: null, category: '', grade: null, quantity: '', value: '', text: '',
    called_who: '', called_at: null, photos: [], kept: '', words: '', plant, url: sendAt });
  const choose = (name, value, now, set, ...words) => el('label', { class: 'big' },
    el('input', { type: 'radio', name, value, checked: now, onchange: () => { set(); draw(); } }), ...words);

  const addPhoto = async ev => {
    for (const file of ev.target.files) {
      try { draft.photos.push({ blob: await shrink(file), sent: false }); on.told = ''; } catch { on.told = 'This file is no picture this phone can read; nothing was added.'; }
    }
    draw();
  };
  const keep = async ev => {
    ev.preventDefault();
    if (!draft.nothing && !draft.category) { on.told = 'Choose the kind of finding.'; draw(); return; }
    if (!draft.nothing && draft.grade === null && !draft.quantity && !draft.text) { on.told = 'Say what was found: a grade, a measurement or a few words.'; draw(); return; }
    if (draft.quantity && !Number.isFinite(Number(draft.value.replace(',', '.')) || NaN) && draft.value !== '0') { on.told = 'Give the measured value as a number.'; draw(); return; }
    const offset = await fact('offset');
    const e = { ...draft, value: draft.quantity ? draft.value.replace(',', '.') : '', grade: draft.nothing ? null : draft.grade, revision: draft.revision + 1, person: on.facts.person,
      device_at: draft.device_at || Date.now(), offset: draft.device_at ? draft.offset : offset ?? null, kept: '', words: '' };
    try { await put('entries', e); } catch { on.told = 'This phone has no room left: it is NOT kept. Note it down and tell your lead.'; draw(); return; }
    on.told = '';
    const walked = on.facts.points.findIndex(p => p.key === e.key);
    await put('facts', Date.now(), 'seen ' + round + ' ' + e.key);
    open(on.facts.points[walked + 1] || null);
    await draw();
    window.scrollTo(0, 0);
    await drain();
    if (e.grade === 4 && !(await mine()).some(k => k.client_id === e.client_id)) on.told = 'Grade 4 is sent; Today leads with it until somebody answers. Call by the site\u2019s rules all the same.';
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

  // The belt with what is looked at on it; pages kept by an older program have none.
  const drawn = p => { const belt = p.belt && new DOMParser().parseFromString(p.belt, 'text/html').body.firstElementChild; return belt ? [belt] : []; };

  const form = p => {
    const m = draft.quantity && measureOf(draft.quantity);
    const nudge = by => { draft.value = String(Math.max(0, Math.round((Number(draft.value.replace(',', '.')) + by * m.step) * 100) / 100)); draw(); };
    const kind = on.facts.kinds.find(k => k.name === draft.category);
    const means = (kind || on.facts).grades;
    const beside = m && besideOf(p, m);
    const rest = draft.nothing ? [] : [
      el('label', { class: 'lg', for: 'kind' }, 'Kind of finding'),
      el('select', { id: 'kind', onchange: ev => { draft.category = ev.target.value; draw(); } },
        el('option', { value: '' }, 'choose one'), ...on.facts.kinds.map(k => el('option', { value: k.name, selected: k.name === draft.category }, k.name)),
        ...(draft.category && !kind ? [el('option', { value: draft.category, selected: true }, draft.category)] : [])),
      el('fieldset', { class: 'five' }, el('legend', {}, 'Grade' + (draft.grade === null ? '' : ' ' + draft.grade + ': ' + means[draft.grade])),
        ...means.map((g, i) => choose('grade', i, draft.grade === i, () => { draft.grade = i; }, el('b', {}, String(i)), ...(on.facts.short ? [el('span', { 'aria-hidden': 'true' }, on.facts.short[i])] : []), el('span', { class: 'vh' }, g)))),
      el('label', { class: 'lg', for: 'measured' }, 'Measured' + (kind?.quantity ? ', usually the ' + kind.quantity : '')),
      el('select', { id: 'measured', onchange: ev => { draft.quantity = ev.target.value; draft.value = lastOf(p, draft.quantity); draw(); } }, el('option', { value: '' }, 'nothing'),
        ...on.facts.measures.map(q => el('option', { value: q.quantity, selected: q.quantity === draft.quantity }, q.quantity + ', ' + q.sign))),
      ...(m ? [el('div', { class: 'nudge' }, el('button', { type: 'button', 'aria-label': 'less, ' + m.step, onclick: () => nudge(-1) }, '−'),
        el('input', { type: 'text', inputmode: 'decimal', 'aria-label': draft.quantity + ' in ' + m.sign, value: draft.value, oninput: ev => { draft.value = ev.target.value.trim(); const b = live.querySelector('[data-beside]'); if (b) b.textContent = besideOf(p, m); } }),
        el('button', { type: 'button', 'aria-label': 'more, ' + m.step, onclick: () => nudge(1) }, '+')),
        ...(beside ? [el('p', { class: 'small dim center', 'data-beside': true }, beside)] : [])] : []),
      el('label', { class: 'lg', for: 'words' }, 'In words'),
      el('textarea', { id: 'words', rows: 2, oninput: ev => { draft.text = ev.target.value; } }, draft.text),
    ];
    return el('form', { 'data-entry': true, onsubmit: keep },
      el('div', { class: 'lookat' }, ...drawn(p), el('div', {}, el('h2', {}, p.name), el('p', { class: 'dim' }, [p.used, p.look && 'Look at ' + p.look, p.due, p.last, p.limit, p.seen].filter(Boolean).map(s => s[0].toUpperCase() + s.slice(1)).join('. ')))),
      el('fieldset', { class: 'two' }, el('legend', { class: 'vh' }, 'Result'),
        choose('result', 'nothing', draft.nothing, () => { draft.nothing = true; }, 'nothing found'), choose('result', 'finding', !draft.nothing, () => { draft.nothing = false; }, 'finding')),
      el('fieldset', { class: 'two' }, el('legend', { class: 'vh' }, 'Belt'),
        choose('running', 'stopped', draft.running === false, () => { draft.running = false; }, 'stopped'), choose('running', 'running', draft.running === true, () => { draft.running = true; }, 'running')),
      ...rest,
      el('label', { class: 'pbtn alt' }, el('input', { type: 'file', accept: 'image/*', capture: 'environment', 'aria-label': 'Add a photo', onchange: addPhoto }), draft.photos.length ? 'Add a photo, ' + draft.photos.length + ' taken' : 'Add a photo'),
      el('div', { class: 'foot' }, el('button', { class: 'pbtn', 'data-keep': true }, 'Keep this, next point')));
  };

  const full = e => {
    const numbers = on.facts.numbers.map(n => el('a', { class: 'pbtn', href: 'tel:' + n.phone.replace(/[^+0-9]/g, '') }, 'Call ' + n.phone + ', ' + n.name + (n.duty ? ', ' + n.duty : '')));
    const who = el('input', { type: 'text', id: 'called', value: e.called_who });
    const call = async () => {
      if (!who.value.trim()) { on.told = 'Say whom you called.'; draw(); return; }
      await alter(e.client_id, held => ({ ...held, called_who: who.value.trim(), called_at: Date.now(), revision: held.revision + 1 }));
      on.told = 'The call is noted, ' + clock(Date.now()) + '.';
      await draw(); await drain(); await draw();
    };
    return el('div', { class: 'gravest', role: 'alertdialog', 'aria-labelledby': 'gravest', 'data-gravest': true },
      el('h2', { id: 'gravest' }, 'Nobody has been told yet'), el('p', {}, e.name + ', grade 4: ' + (on.facts.kinds.find(k => k.name === e.category) || on.facts).grades[4] + '. This phone could not send it.'),
      el('p', {}, 'Call now, and follow the site\u2019s rules. ' + (on.facts.rules || '')),
      ...(numbers.length ? numbers : [el('p', {}, 'No number is kept for this plant: call by the site\u2019s own list.')]),
      ...(on.told ? [el('p', { class: 'wrong' }, on.told)] : []),
      el('label', { class: 'lg', for: 'called' }, 'Whom you called'), who,
      el('button', { class: 'pbtn', type: 'button', 'data-called': true, onclick: call }, 'I have called'));
  };

  const draw = async () => {
    const kept = await all();
    const here = kept.filter(e => e.plant === plant && on.facts && e.person === on.facts.person).sort(first);
    tell(queue, kept, here);
    if (!on.facts) { live.replaceChildren(el('p', {}, 'This round was not opened with a network on this phone yet.')); return; }
    const grave = here.find(e => e.grade === 4 && !e.called_who);
    const seen = new Set(here.map(e => e.key));
    for (const p of on.facts.points) {
      const when = await fact('seen ' + round + ' ' + p.key);
      if (when && Date.now() - when < 12 * 3600e3) seen.add(p.key);
    }
    const focus = document.activeElement && live.contains(document.activeElement) && [document.activeElement.name, document.activeElement.value, document.activeElement.id];
    const count = on.facts.points.filter(p => seen.has(p.key)).length + ' of ' + on.facts.points.length + ' points seen';
    const strip = el('ul', { class: 'strip', 'aria-label': count },
      ...on.facts.points.map(p => el('li', { class: p === at ? 'on' : seen.has(p.key) ? 'done' : '' })));
    const waiting = here.length ? [el('h2', {}, 'Waiting to be sent'), el('ul', { class: 'rows', 'data-waiting': true }, ...here.map(e => el('li', {},
      e.what ? says(e) : el('button', { class: 'row', type: 'button', 'data-edit': e.client_id, onclick: () => { at = on.facts.points.find(p => p.key === e.key) || { key: e.key, name: e.name }; draft = { ...e, photos: [...e.photos] }; draw(); window.scrollTo(0, 0); } },
        says(e)), ...(e.words ? [el('p', { class: 'wrong' }, e.words)] : [])))), el('p', { class: 'small dim' }, 'Safe if the phone is switched off. Seen on no other screen until sent.')] : [];
    const list = [el('h2', {}, 'Points of the round'), el('ol', { class: 'rows' }, ...on.facts.points.map(p => el('li', { class: seen.has(p.key) ? 'seen' : '' },
      on.facts.may ? el('button', { class: 'row', type: 'button', 'data-point': p.key, onclick: () => { open(p); draw(); window.scrollTo(0, 0); } }, p.name + (seen.has(p.key) ? ', seen' : '') + (p.due ? ', ' + p.due : '') + (p.used ? ', ' + p.used : '')) : p.name)))];
    live.replaceChildren(...(grave ? [full(grave)] : []), el('p', { class: 'walked' }, el('a', { href: root.dataset.back }, '\u2039 Rounds'), el('b', {}, count)), strip, ...(at && on.facts.may ? [form(at)] : []), ...(!at && seen.size >= on.facts.points.length ? [el('p', { class: 'lg', role: 'status' }, 'Every point of this round is seen. ' + (here.length ? 'Keep the phone with you until what is kept is sent.' : 'All of it is sent.'))] : []), ...waiting, ...list);
    if (focus) [...live.querySelectorAll('input,select,textarea,button')].find(x => focus[2] ? x.id === focus[2] : focus[0] && x.name === focus[0] && x.value === focus[1])?.focus();
  };

  root.querySelector('[data-plain]').hidden = true;
  live.replaceChildren(el('p', {}, 'The round is being opened.'));
  await begin(draw, () => live.querySelector('form[data-entry]:focus-within'));
  if (on.facts && !at) open(on.facts.points.find(p => p.due) || on.facts.points[0] || null);
  await draw();
  root.dataset.ready = 'yes';
})();
