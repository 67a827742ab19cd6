// Keeps pages of rounds and of sheets taken along open without a network: what was opened once is answered from the phone when the network is not there.
const kept = 'carryside-rounds';
const ours = path => /^\/plants\/\d+\/(rounds\/\d+(\/points)?|orders\/\d+\/along(\/facts)?)$/.test(path) || path.startsWith('/static/');

self.addEventListener('install', () => self.skipWaiting());
self.addEventListener('activate', e => e.waitUntil(self.clients.claim()));
self.addEventListener('fetch', e => {
  const url = new URL(e.request.url);
  if (e.request.method !== 'GET' || url.origin !== self.location.origin || !ours(url.pathname)) return;
  if (url.pathname.startsWith('/static/')) {
    e.respondWith(caches.match(e.request).then(hit => hit || fetch(e.request)));
    return;
  }
  e.respondWith(fetch(e.request).catch(async lost => {
    const hit = await (await caches.open(kept)).match(url.pathname);
    if (hit) return hit;
    throw lost;
  }));
});
