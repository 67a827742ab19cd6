// Small comforts. Every screen reads and every form works without this file.
(() => {
  const root = document.documentElement;
  const isDark = () => root.dataset.theme ? root.dataset.theme === 'dark' : matchMedia('(prefers-color-scheme: dark)').matches;

  // Theme: the form beside the button asks the server; with script the page changes at once.
  document.querySelectorAll('form[data-theme-form]').forEach(form => {
    const button = form.querySelector('button');
    const say = () => { const next = isDark() ? 'light' : 'dark'; button.value = next; button.textContent = next === 'dark' ? 'Dark' : 'Light'; };
    say();
    form.addEventListener('submit', e => {
      e.preventDefault();
      root.dataset.theme = button.value;
      fetch(form.action, { method: 'POST', body: new URLSearchParams({ theme: button.value, stay: '1' }) });
      say();
    });
  });

  // Signing out takes the pages of rounds from this device; what was entered and is not sent yet stays until it is.
  document.querySelectorAll('form[action="/signout"]').forEach(form => form.addEventListener('submit', e => {
    if (!window.caches) return;
    e.preventDefault();
    caches.delete('carryside-rounds').catch(() => {}).then(() => form.submit());
  }));

  // A drawing's detail line tells what is pointed at.
  document.querySelectorAll('[data-detail]').forEach(line => {
    const own = line.textContent;
    const scope = line.closest('section') || document;
    scope.querySelectorAll('[data-say]').forEach(el => {
      ['focus', 'mouseenter'].forEach(v => el.addEventListener(v, () => { line.textContent = el.dataset.say; }));
      ['blur', 'mouseleave'].forEach(v => el.addEventListener(v, () => { line.textContent = own; }));
    });
  });

  // Filters apply when changed; without script the form's button does it.
  document.querySelectorAll('form[data-filter]').forEach(form => {
    form.querySelectorAll('select, input[type=radio]').forEach(el => el.addEventListener('change', () => form.requestSubmit()));
  });

  // "/" goes to search, unless something is being typed.
  document.addEventListener('keydown', e => {
    if (e.key !== '/' || e.ctrlKey || e.metaKey || e.altKey) return;
    if (/^(INPUT|TEXTAREA|SELECT)$/.test(document.activeElement.tagName)) return;
    const find = document.getElementById('find');
    if (find) { e.preventDefault(); find.focus(); }
  });

  // A field for words is as high as they are. Where the style sheet cannot say so, this does.
  if (!CSS.supports('field-sizing', 'content')) document.querySelectorAll('textarea.grow').forEach(area => {
    const grow = () => { area.style.height = 'auto'; area.style.height = `${area.scrollHeight + area.offsetHeight - area.clientHeight}px`; };
    area.addEventListener('input', grow);
    grow();
  });

  document.querySelectorAll('[data-print]').forEach(b => { b.hidden = false; b.addEventListener('click', () => window.print()); });
  const summary = document.querySelector('[data-errors]');
  if (summary) summary.focus();
})();
