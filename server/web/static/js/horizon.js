// Moves work on the horizon by keys and by dragging. Each move is asked of the server and answered at once; nothing is kept
// until it is set down. The form below the sheet does the same without this file.
(() => {
  const sheet = document.querySelector('[data-horizon][data-move]');
  const panel = document.querySelector('[data-answer]');
  const form = document.querySelector('form[data-set]');
  if (!sheet || !panel || !form) return;
  let held = null; // the block taken up: its link, its stops and where it would go
  let asking = null;

  const stopsOf = link => link.dataset.stops.split(';').filter(Boolean).map(s => {
    const [id, x, w] = s.split(',');
    return { id, x: +x, w: +w };
  }).sort((a, b) => a.x - b.x);

  const draw = () => {
    const stop = held.stops[held.at];
    held.link.querySelectorAll('rect').forEach(r => {
      const ring = r.classList.contains('ring');
      r.setAttribute('x', ring ? stop.x - 3 : stop.x);
      r.setAttribute('width', ring ? stop.w + 6 : stop.w);
    });
    if (held.label) carry(stop);
  };

  // The words of a block stand behind it, before it where the sheet ends.
  const labelOf = link => {
    const text = link.nextElementSibling;
    return text && text.tagName === 'text' && text.textContent.startsWith(link.dataset.order + ' ') ? text : null;
  };
  const carry = stop => {
    const box = held.label.getBBox();
    const after = stop.x + stop.w + 5;
    const x = after + box.width > +held.link.dataset.right ? stop.x - 5 - box.width : after;
    held.label.setAttribute('transform', 'translate(' + (x - box.x) + ')');
  };

  const ask = async () => {
    const stop = held.stops[held.at];
    if (asking) asking.abort();
    asking = new AbortController();
    const to = sheet.dataset.move + '&order=' + held.link.dataset.order + '&stop=' + stop.id;
    try {
      const page = await fetch(to, { signal: asking.signal, headers: { Accept: 'text/html' } });
      const got = new DOMParser().parseFromString(await page.text(), 'text/html');
      const answer = got.querySelector('#answer') || got.querySelector('main h1');
      if (!held || held.stops[held.at] !== stop || !answer) return;
      panel.replaceChildren(document.adoptNode(answer), buttons());
    } catch (e) {
      if (e.name !== 'AbortError') panel.textContent = 'The server did not answer; nothing was moved.';
    }
  };

  const buttons = (list = [['Set it down', set, true], ['Leave it where it is', leave, false]]) => {
    const bar = document.createElement('p');
    for (const [word, act, main] of list) {
      const b = document.createElement('button');
      b.type = 'button';
      b.className = main ? 'btn small' : 'btn alt small';
      b.textContent = word;
      b.addEventListener('click', act);
      bar.append(b, ' ');
    }
    return bar;
  };

  const take = link => {
    if (held) leave();
    const stops = stopsOf(link);
    if (!stops.length) return;
    const at = stops.findIndex(s => s.id === link.dataset.stop); // -1: it stands in a stop that takes it no more
    const was = [...link.querySelectorAll('rect')].map(r => [r, r.getAttribute('x'), r.getAttribute('width')]);
    held = { link, stops, at, from: at, was, label: labelOf(link) };
    link.classList.add('taken');
    const locks = 'lock' in link.dataset;
    const list = [['Leave it where it is', leave, false]];
    if (locks) list.unshift(['Lock it where it stands', () => send('lock', link.dataset.order, link.dataset.stop), false]);
    tell(link.getAttribute('aria-label') + ': taken up. Arrows move it, Enter sets it down, ' + (locks ? 'L locks it where it stands, ' : '') + 'Esc leaves it.', list);
  };

  const leave = () => {
    if (!held) return;
    held.was.forEach(([r, x, w]) => { r.setAttribute('x', x); r.setAttribute('width', w); });
    if (held.label) held.label.removeAttribute('transform');
    held.link.classList.remove('taken');
    held = null;
    panel.replaceChildren();
  };

  const send = (what, order, stop) => {
    form.elements.do.value = what;
    form.elements.order.value = order;
    form.elements.stop.value = stop;
    form.submit();
  };

  const set = () => {
    if (!held) return;
    if (held.at === held.from) { leave(); return; }
    send('set', held.link.dataset.order, held.stops[held.at].id);
  };

  const tell = (words, list) => {
    const says = document.createElement('p');
    says.textContent = words;
    panel.replaceChildren(says, buttons(list));
  };

  // A locked block is not taken up; it says so and offers to unlock it.
  const unlock = link => send('unlock', link.dataset.locked, link.dataset.stop);
  const locked = link => {
    leave();
    tell(link.getAttribute('aria-label') + '. L unlocks it.', [['Unlock it', () => unlock(link), false], ['Leave it locked', () => panel.replaceChildren(), false]]);
  };

  const go = at => {
    if (at < 0 || at >= held.stops.length || at === held.at) return;
    held.at = at;
    draw();
    ask();
  };

  sheet.addEventListener('keydown', e => {
    const bolted = e.target.closest('a[data-locked]');
    const key = e.ctrlKey || e.metaKey || e.altKey ? '' : e.key.toLowerCase();
    if (bolted && (key === ' ' || key === 'l')) { e.preventDefault(); key === 'l' ? unlock(bolted) : locked(bolted); return; }
    const link = e.target.closest('a[data-order]');
    if (!link) return;
    if (key === 'l' && 'lock' in link.dataset) { e.preventDefault(); send('lock', link.dataset.order, link.dataset.stop); return; }
    if (e.key === ' ') { e.preventDefault(); held && held.link === link ? leave() : take(link); return; }
    if (!held || held.link !== link) return;
    const does = { ArrowLeft: () => go(held.at - 1), ArrowRight: () => go(held.at + 1), Enter: set, Escape: leave }[e.key];
    if (does) { e.preventDefault(); does(); }
  });

  // Dragging: the block goes to the nearest stop; letting go leaves the answer standing with its two buttons.
  let drag = null;
  sheet.addEventListener('pointerdown', e => {
    const link = e.target.closest('a[data-order], a[data-locked]');
    if (!link || e.button !== 0) return;
    drag = { link, x: e.clientX, moved: false };
  });
  addEventListener('pointermove', e => {
    if (!drag) return;
    if (!e.buttons) { drag = null; return; }
    if (!drag.moved && Math.abs(e.clientX - drag.x) < 6) return;
    if (!drag.moved && drag.link.dataset.locked) { drag.moved = true; locked(drag.link); return; }
    if (!drag.moved) { drag.moved = true; if (!held || held.link !== drag.link) take(drag.link); }
    if (!held) return;
    const svg = drag.link.ownerSVGElement;
    const x = (e.clientX - svg.getBoundingClientRect().left) * svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;
    let near = 0;
    held.stops.forEach((s, i) => { if (Math.abs(s.x + s.w / 2 - x) < Math.abs(held.stops[near].x + held.stops[near].w / 2 - x)) near = i; });
    go(near);
  });
  // The click that ends a drag follows no link; where none comes, as when it ends outside the window, the next one does.
  const still = e => e.preventDefault();
  addEventListener('pointerup', () => {
    if (drag && drag.moved) {
      addEventListener('click', still, { capture: true, once: true });
      setTimeout(() => removeEventListener('click', still, { capture: true }), 0);
    }
    drag = null;
  });
  addEventListener('pointercancel', () => { drag = null; });
  sheet.addEventListener('dragstart', e => { if (e.target.closest('a[data-order], a[data-locked]')) e.preventDefault(); });
})();
