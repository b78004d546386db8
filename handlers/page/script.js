'use strict';
// Answers are kept on the phone until they are with us, each under an id made here: it counts once.
(() => {
  const key = 'kept ' + location.pathname, every = 8000;
  const $ = (q) => document.querySelector(q), main = () => $('main');
  let spare = []; // where the browser keeps nothing
  const kept = () => {
    try { return JSON.parse(localStorage.getItem(key)) || spare; } catch { return spare; }
  };
  const keep = (list) => {
    spare = list;
    try { localStorage.setItem(key, JSON.stringify(list)); } catch { /* then only while it is open */ }
  };
  const say = (name) => {
    const note = $('#note');
    note.textContent = name ? note.dataset[name] : '';
    note.hidden = !name;
  };
  const newId = () => Array.from(crypto.getRandomValues(new Uint8Array(16)),
    (byte) => byte.toString(16).padStart(2, '0')).join('');
  let busy = false;

  // Only what the desk says is put in anew: what is being typed stays, and so does the focus.
  function show(text) {
    const fresh = new DOMParser().parseFromString(text, 'text/html').querySelector('main');
    if (!fresh) return false;
    const parts = ['now', 'earlier'].map((id) => [document.getElementById(id), fresh.querySelector('#' + id)]);
    if (parts.every(([old, now]) => old && now)) {
      for (const [old, now] of parts) if (old.innerHTML !== now.innerHTML) old.innerHTML = now.innerHTML;
      Object.assign(main().dataset, fresh.dataset);
    } else main().replaceWith(fresh);
    if (document.querySelector('main .stop')) $('#stop').hidden = true; // it stands there now
    return fresh.dataset.kept !== 'no';
  }

  async function smaller(file) {
    try {
      const image = await createImageBitmap(file);
      const scale = Math.min(1, 1280 / Math.max(image.width, image.height));
      const canvas = document.createElement('canvas');
      canvas.width = image.width * scale;
      canvas.height = image.height * scale;
      canvas.getContext('2d').drawImage(image, 0, 0, canvas.width, canvas.height);
      return canvas.toDataURL('image/jpeg', 0.7);
    } catch { // no photo that the browser can read: as it is
      return new Promise((done, failed) => {
        const reader = new FileReader();
        reader.onload = () => done(reader.result);
        reader.onerror = failed;
        reader.readAsDataURL(file);
      });
    }
  }

  function body(one) {
    const form = new FormData();
    for (const [name, value] of one.fields) form.append(name, value);
    form.append('id', one.id);
    form.append('form', main().dataset.form);
    form.append('waited', String(Math.max(0, Date.now() - one.at)));
    if (one.photo) {
      const bytes = Uint8Array.from(atob(one.photo.split(',')[1]), (c) => c.charCodeAt(0));
      form.append('photo', new Blob([bytes]), 'photo');
    }
    return form;
  }

  async function send() {
    if (busy || !main().dataset.form) return;
    busy = true;
    try {
      for (let list = kept(); list.length; list = kept()) {
        say('sends');
        const answer = await fetch(location.pathname, {
          method: 'POST', body: body(list[0]), cache: 'no-store', signal: AbortSignal.timeout(45000),
        });
        if (answer.headers.get('X-Page') === 'stop') $('#stop').hidden = false;
        const there = show(await answer.text());
        if (answer.status >= 500 || answer.status === 429 || !there) return say('kept');
        const id = list[0].id;
        keep(kept().filter((one) => one.id !== id));
        say(answer.ok ? 'sent' : '');
      }
    } catch { say('kept'); } finally { busy = false; }
  }

  async function look() {
    if (busy || !main().dataset.form || document.visibilityState !== 'visible') return;
    if (kept().length) { await send(); return; }
    try {
      const answer = await fetch(location.pathname, {
        cache: 'no-store', headers: { 'If-None-Match': '"' + main().dataset.mark + '"' },
        signal: AbortSignal.timeout(20000),
      });
      if (answer.status === 200 || answer.status === 410) { show(await answer.text()); say(''); }
    } catch { /* no signal: looked for again in a moment */ }
  }

  const enable = (on) => { for (const button of document.querySelectorAll('button')) button.disabled = !on; };

  document.addEventListener('submit', async (event) => {
    const form = event.target, by = event.submitter;
    if (!form.dataset.answer) return;
    event.preventDefault();
    const words = form.querySelector('textarea'), file = form.querySelector('input[type=file]');
    const one = { id: newId(), at: Date.now(), fields: [] };
    if (by && by.name) one.fields.push([by.name, by.value]);
    if (words && words.value.trim()) one.fields.push(['words', words.value]);
    enable(false);
    if (file && file.files[0]) one.photo = await smaller(file.files[0]);
    if (one.fields.length || one.photo) {
      keep([...kept(), one]);
      form.reset();
      await send();
      if (main().dataset.form) $('#now').focus(); // what comes next, seen and read out
    }
    enable(true);
  });
  addEventListener('online', send);
  document.addEventListener('visibilitychange', look);
  if (main().dataset.form) {
    setInterval(look, every);
    if (kept().length) send();
  }
})();
