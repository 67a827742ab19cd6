// A job sheet on a device: cautions, figures, steps and checks noted one by one, then the signature. Kept and sent as kept.js does it.
(async () => {
  const root = document.querySelector('[data-sheet]');
  if (!root) return;
  const live = root.querySelector('[data-live]');
  const queue = root.querySelector('[data-queue]');
  const { facts: factsAt, send: sendAt, files: filesAt, order, plant } = root.dataset;
  const memory = what => 'sheet ' + plant + ' ' + order + ' ' + what;
  const kept = await window.keptOnDevice({ facts: factsAt, plant });
  if (!kept) return;
  const { on, all, mine, fact, put, id, first, drain, el, clock, shrink, tell, begin } = kept;

  let at = null; // key of the step looked at; 'head' and 'sign' are the ends
  let draft = null;
  const noted = async () => (await fact(memory('noted'))) || {}; // what was noted on this device, by step

  const add = async (entry, says) => {
    const offset = await fact('offset');
    const e = { client_id: id(), plant, url: sendAt, files_to: filesAt, units: on.facts.units, person: on.facts.person, device_at: Date.now(), offset: offset ?? null, photos: [], kept: '', words: '',
      ...entry, says: 'Order ' + order + ', ' + says };
    try { await put('entries', e); } catch { on.told = 'This device has no room left: it is NOT kept. Note it on paper and tell your lead.'; await draw(); return null; }
    on.told = '';
    return e;
  };
  const sendNow = async () => { await draw(); window.scrollTo(0, 0); await drain(); await draw(); };

  // ---- one step
  const open = key => {
    at = key;
    draft = { state: 'done', value: '', note: '', photos: [] };
    if (key === 'head') draft = { isolation: on.facts.head.Isolation, permit: on.facts.head.Permit };
    if (key === 'sign') draft = null;
  };
  const number = typed => typed.trim().replace(',', '.');
  const isNumber = typed => typed !== '' && Number.isFinite(Number(typed));
  const keepStep = async (ev, step) => {
    ev.preventDefault();
    const value = draft.state === 'done' && step.wants ? number(draft.value) : '';
    if (draft.state === 'done' && step.wants && !isNumber(value)) { on.told = 'Give the measured value as a number: ' + step.ask + '.'; draw(); return; }
    if (draft.state !== 'done' && !draft.note.trim()) { on.told = 'Say why it is ' + draft.state + '.'; draw(); return; }
    const says = 'step ' + step.no + ': ' + draft.state + (value ? ', ' + value + ' ' + step.unit : '') + (draft.photos.length ? ', ' + draft.photos.length + ' photo' + (draft.photos.length > 1 ? 's' : '') : '');
    const e = await add({ what: 'step', key: step.key, state: draft.state, value, note: draft.note.trim(), photos: draft.photos }, says);
    if (!e) return;
    await put('facts', { ...(await noted()), [step.key]: { state: e.state, says: e.state + (value ? ', ' + value + ' ' + step.unit : '') + ', ' + clock(e.device_at), at: e.device_at, value } }, memory('noted'));
    const next = on.facts.steps[on.facts.steps.indexOf(step) + 1];
    open(next ? next.key : 'sign');
    await sendNow();
  };
  const choose = (name, value, now, set, words) => el('label', { class: 'big' }, el('input', { type: 'radio', name, value, checked: now, onchange: () => { set(); draw(); } }), words);
  const typed = (label, value, set, attrs = {}) => [el('label', { class: 'lg', for: attrs.id }, label), el('input', { type: 'text', value, oninput: ev => set(ev.target.value), ...attrs })];
  const limits = step => [step.least !== undefined && 'least ' + step.least + ' ' + step.unit, step.most !== undefined && 'most ' + step.most + ' ' + step.unit].filter(Boolean).join(', ');
  const outside = (step, v) => isNumber(v) && (step.least !== undefined && Number(v) < step.least || step.most !== undefined && Number(v) > step.most);
  const warn = (step, v) => outside(step, number(v)) ? 'Outside its limits (' + limits(step) + '): it is kept as measured.' : '';
  const addPhoto = async ev => {
    for (const file of ev.target.files) {
      try { draft.photos.push({ blob: await shrink(file), sent: false }); on.told = ''; } catch { on.told = 'This file is no picture this device can read; nothing was added.'; }
    }
    draw();
  };
  const stepForm = (step, was) => el('form', { 'data-entry': step.key, onsubmit: ev => keepStep(ev, step) },
    el('h2', {}, (step.check ? 'Check ' : 'Step ') + step.no + ' of ' + on.facts.steps.length), el('p', {}, el('b', {}, step.words)),
    ...(was || step.found ? [el('p', { class: 'dim' }, 'Noted so far: ' + (was ? was.says + ' on this device' : step.found))] : []),
    el('fieldset', { class: 'three' }, el('legend', { class: 'vh' }, 'How it stands'),
      ...['done', 'failed', 'not applicable'].map(s => choose('state', s, draft.state === s, () => { draft.state = s; }, s))),
    ...(step.wants && draft.state === 'done' ? [...typed('Measured: ' + step.ask + (step.unit ? ', in ' + step.unit : ''), draft.value, v => { draft.value = v; live.querySelector('[data-warn]').textContent = warn(step, v); }, { id: 'value', inputmode: 'decimal' }),
      el('p', { class: 'wrong', role: 'status', 'data-warn': true }, warn(step, draft.value))] : []),
    ...typed(draft.state === 'done' ? 'Note' : 'Why it is ' + draft.state, draft.note, v => { draft.note = v; }, { id: 'note' }),
    el('label', { class: 'pbtn alt' }, el('input', { type: 'file', accept: 'image/*', capture: 'environment', 'aria-label': 'Add a photo', onchange: addPhoto }), (step.photo ? 'A photo belongs here' : 'Add a photo') + (step.photo || draft.photos.length ? ', ' + draft.photos.length + ' taken' : '')),
    el('div', { class: 'foot' }, el('button', { class: 'pbtn', 'data-keep': true }, 'Keep this, next step')));

  const keepHead = async ev => {
    ev.preventDefault();
    if (!await add({ what: 'head', isolation: draft.isolation, permit: draft.permit }, 'isolation and permit')) return;
    on.facts.head = { Isolation: draft.isolation, Permit: draft.permit };
    await put('facts', on.facts.head, memory('head'));
    open(on.facts.steps[0]?.key || 'sign');
    await sendNow();
  };
  const headForm = () => el('form', { 'data-entry': 'head', onsubmit: keepHead }, el('h2', {}, 'Isolation and permit'),
    ...typed('Isolation point', draft.isolation, v => { draft.isolation = v; }, { id: 'isolation' }), ...typed('Permit number', draft.permit, v => { draft.permit = v; }, { id: 'permit' }),
    el('div', { class: 'foot' }, el('button', { class: 'pbtn', 'data-keep': true }, 'Keep this, first step')));

  // ---- the signature
  // seal hides the PIN from everybody but the server, this device included, and ties it to this one signature.
  const seal = async (about, pin) => {
    const bytes = Uint8Array.from(atob(on.facts.seal), c => c.charCodeAt(0));
    const key = await crypto.subtle.importKey('spki', bytes, { name: 'RSA-OAEP', hash: 'SHA-256' }, false, ['encrypt']);
    const hidden = await crypto.subtle.encrypt({ name: 'RSA-OAEP' }, key, new TextEncoder().encode(about + '\n' + pin));
    return btoa(String.fromCharCode(...new Uint8Array(hidden)));
  };
  const signing = async () => {
    const times = Object.values(await noted()).map(n => n.at);
    const began = times.length ? Math.min(...times) : Date.now();
    const cut = (await noted()).cut_out;
    return { signer: '', pin: '', began, hours: String(Math.max(0.25, Math.round((Date.now() - began) / 900e3) / 4)), note: '', retired: 'planned', failure_mode: '', shorter: cut?.value || '',
      wear: Object.fromEntries(on.facts.counts.map(c => [c.key, c.usual])), taken: Object.fromEntries(on.facts.takes.map(c => [c.key, c.usual])) };
  };
  const keepSignature = async ev => {
    ev.preventDefault();
    const missing = !draft.signer ? 'Choose who signs.' : !/^[0-9]{6,12}$/.test(draft.pin) ? 'Whoever signs gives their own PIN, 6 to 12 digits.' : !isNumber(number(draft.hours)) ? 'Give the hours of work as a number.'
      : on.facts.remakes && !draft.shorter.trim() ? 'Give by how much the loop is shorter; 0 when nothing was cut out.' : on.facts.remakes && draft.retired === 'failed' && !draft.failure_mode.trim() ? 'Say how the old splice failed; \u2018not seen\u2019 is an answer too.'
        : [...Object.values(draft.wear), ...Object.values(draft.taken)].some(v => v !== '' && !(isNumber(number(v)) && Number(number(v)) >= 0)) ? 'Give what was counted as numbers from 0 on.' : '';
    if (missing) { on.told = missing; draw(); return; }
    const about = id();
    const counted = all => Object.fromEntries(Object.entries(all).filter(([, v]) => v !== '').map(([k, v]) => [k, number(v)]));
    const sealed = await seal(about, draft.pin);
    const whose = on.facts.crew.find(p => String(p.id) === draft.signer).name;
    draft.pin = '';
    if (!await add({ client_id: about, what: 'signature', signer: Number(draft.signer), sealed, began_at: draft.began, done_at: Date.now(), hours: Number(number(draft.hours)), note: draft.note.trim(),
      retired: draft.retired, failure_mode: draft.failure_mode.trim(), shorter: draft.shorter.replace(',', '.').trim(), wear: counted(draft.wear), taken: counted(draft.taken) }, 'signature of ' + whose)) return;
    at = null;
    await put('facts', { by: whose, at: Date.now() }, memory('signed'));
    await sendNow();
  };
  const counts = (head, list, into) => list.length ? [el('h3', {}, head), ...list.flatMap((c, i) => typed(c.name + ', ' + c.unit, into[c.key], v => { into[c.key] = v; }, { id: head.replaceAll(' ', '') + i, inputmode: 'decimal' }))] : [];
  const signForm = () => el('form', { 'data-entry': 'sign', autocomplete: 'off', onsubmit: keepSignature }, el('h2', {}, 'Signature'),
    el('p', {}, 'A signature says that the record is right. It never says that a conveyor is safe to run.'),
    ...(on.facts.remakes ? [el('fieldset', { class: 'two' }, el('legend', {}, 'The old splice'), choose('retired', 'planned', draft.retired === 'planned', () => { draft.retired = 'planned'; }, 'was replaced sound'),
      choose('retired', 'failed', draft.retired === 'failed', () => { draft.retired = 'failed'; }, 'had failed')),
    ...(draft.retired === 'failed' ? typed('How it failed', draft.failure_mode, v => { draft.failure_mode = v; }, { id: 'failure' }) : []),
    ...typed('Loop shorter by, in ' + on.facts.length, draft.shorter, v => { draft.shorter = v; }, { id: 'shorter', inputmode: 'decimal' })] : []),
    ...typed('Hours of work in the stop', draft.hours, v => { draft.hours = v; }, { id: 'hours', inputmode: 'decimal' }),
    ...typed('What was done', draft.note, v => { draft.note = v; }, { id: 'done' }),
    ...counts('Counted on the kit', on.facts.counts, draft.wear), ...counts('Taken from stock', on.facts.takes, draft.taken),
    el('label', { class: 'lg', for: 'signer' }, 'Who signs'),
    el('select', { id: 'signer', onchange: ev => { draft.signer = ev.target.value; } }, el('option', { value: '' }, 'choose one'), ...on.facts.crew.map(p => el('option', { value: p.id, selected: String(p.id) === draft.signer }, p.name))),
    el('label', { class: 'lg', for: 'pin' }, 'PIN of whoever signs'),
    el('input', { type: 'password', id: 'pin', inputmode: 'numeric', autocomplete: 'off', value: draft.pin, oninput: ev => { draft.pin = ev.target.value; } }),
    el('p', { class: 'small dim' }, 'Set on the own account page. It leaves this device sealed, and only the server can open it. A wrong PIN or a lapsed ticket goes to the lead; nothing is lost.'),
    el('div', { class: 'foot' }, el('button', { class: 'pbtn', 'data-keep': true }, 'Sign')));

  // ---- the page
  // Cautions come first. Once a step is noted they stand folded above the next one: whoever has gloves on does not scroll past them at each step.
  let unfolded = false;
  const cautions = (f, begun) => {
    if (!f.cautions?.length) return [];
    const says = [el('ul', {}, ...f.cautions.map(c => el('li', {}, c))), ...(f.rules ? [el('p', { class: 'small' }, el('b', {}, 'Site rules: '), f.rules)] : []),
      el('p', { class: 'small' }, 'Site rules, local codes and qualified people decide; this sheet replaces none of them. It never says that a conveyor is safe to run.')];
    if (!begun) return [el('section', { class: 'caution', 'aria-labelledby': 'ca' }, el('h2', { id: 'ca' }, 'Before anything else'), ...says)];
    return [el('details', { class: 'caution', open: unfolded, ontoggle: ev => { unfolded = ev.target.open; } }, el('summary', {}, 'Before anything else: ' + f.cautions.length + ' cautions'), ...says)];
  };

  const draw = async () => {
    const held = await all();
    const here = held.filter(e => e.plant === plant && on.facts && e.person === on.facts.person).sort(first);
    tell(queue, held, here);
    if (!on.facts) { live.replaceChildren(el('p', {}, 'This sheet was not opened with a network on this device yet.')); return; }
    const f = on.facts;
    const mineNow = await noted();
    const signed = await fact(memory('signed'));
    if (at === 'sign' && !draft) draft = await signing();
    const may = f.may && f.open;
    const form = !may || !at ? [] : at === 'head' ? [headForm()] : at === 'sign' ? [signForm()] : f.steps.filter(s => s.key === at).map(s => stepForm(s, mineNow[s.key]));
    const waits = new Set(here.map(e => e.key));
    const stands = s => mineNow[s.key] && (waits.has(s.key) || !s.state) ? mineNow[s.key].says : s.state ? s.found : '';
    const line = (key, words, tells) => el('li', {}, may ? el('button', { class: 'row', type: 'button', 'data-step': key, onclick: async () => { open(key); on.told = ''; await draw(); live.querySelector('form')?.scrollIntoView(); } }, words + (tells ? ': ' + tells : '')) : words + (tells ? ': ' + tells : ''));
    const done = f.steps.filter(s => stands(s));
    const rows = (head, list) => list.length ? [el('h2', {}, head), el('dl', { class: 'dl' }, ...list.flatMap(x => [el('dt', {}, x.name), el('dd', {}, x.value)]))] : [];
    const focus = document.activeElement && live.contains(document.activeElement) && [document.activeElement.name, document.activeElement.value, document.activeElement.id];
    live.replaceChildren(
      ...cautions(f, done.length > 0),
      ...(f.open ? [] : [el('p', { class: 'wrong' }, 'This order is not open to be noted as it stood when the device last had a network.')]),
      el('ul', { class: 'strip', 'aria-label': done.length + ' of ' + f.steps.length + ' steps noted' }, ...f.steps.map(s => el('li', { class: s.key === at ? 'on' : stands(s) ? 'done' : '' }))),
      ...form,
      ...(here.length ? [el('h2', {}, 'Waiting to be sent'), el('ul', { class: 'rows', 'data-waiting': true }, ...here.map(e => el('li', {}, (e.says || e.name) + ', ' + clock(e.device_at), ...(e.words ? [el('p', { class: 'wrong' }, e.words)] : [])))),
        el('p', { class: 'small dim' }, 'Safe if the device is switched off. Seen on no other screen until sent.')] : []),
      el('h2', {}, 'Steps and checks'), el('ol', { class: 'rows plainlist' }, line('head', 'Isolation and permit', [f.head.Isolation, f.head.Permit].filter(Boolean).join(', ')), ...f.steps.map(s => line(s.key, s.no + '. ' + s.words, stands(s))),
        line('sign', 'Signature', signed ? signed.by + ', ' + clock(signed.at) + ' on this device' : '')),
      ...rows('When, who, with what', f.with || []),
      ...rows('Computed for this job', (f.computed || []).map(c => ({ name: c.What, value: c.Value + ' (' + c.How + ', class ' + c.Class + ')' + (c.Look ? '. ' + c.Look : '') }))),
      ...(f.missing?.length ? [el('p', { class: 'small dim' }, 'Not computed, since it is not known: ' + f.missing.join('; ') + '.')] : []));
    if (focus) [...live.querySelectorAll('input,select,button')].find(x => focus[2] ? x.id === focus[2] : focus[0] && x.name === focus[0] && x.value === focus[1])?.focus();
  };

  root.querySelector('[data-plain]').hidden = true;
  live.replaceChildren(el('p', {}, 'The sheet is being opened.'));
  await begin(draw, () => live.querySelector('form[data-entry]:focus-within'));
  const head = await fact(memory('head'));
  if (on.facts && head && on.since) on.facts.head = head;
  if (on.facts && !at) {
    const mineNow = await noted();
    const next = on.facts.steps.find(s => !s.state && !mineNow[s.key]);
    open(next ? next.key : 'sign');
  }
  await draw();
  root.dataset.ready = 'yes';
})();
