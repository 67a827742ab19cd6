// Passkeys: the browser makes and uses them, this only carries what it says.
(() => {
  if (!window.PublicKeyCredential || !PublicKeyCredential.parseCreationOptionsFromJSON || !PublicKeyCredential.parseRequestOptionsFromJSON) return;
  const ask = async (path, body, type) => {
    const answer = await fetch(path, { method: 'POST', body, headers: type ? { 'Content-Type': type } : {} });
    const said = await answer.json().catch(() => ({}));
    if (!answer.ok) throw new Error(said.detail || said.title || 'The program did not answer.');
    return said;
  };
  const inWords = e => e.name === 'NotAllowedError' ? 'The device did not answer, or you stopped it. Begin again.' :
    e.name === 'InvalidStateError' ? 'This device holds a passkey for you already.' : e.message;
  const carry = async (says, button, work) => {
    says.hidden = true;
    button.disabled = true;
    try {
      location.assign((await work()).to);
    } catch (e) {
      says.textContent = inWords(e);
      says.hidden = false;
      button.disabled = false;
    }
  };

  const way = document.querySelector('[data-passkey-signin]');
  if (way) {
    way.hidden = false;
    const button = way.querySelector('button');
    button.addEventListener('click', () => carry(way.querySelector('[role=alert]'), button, async () => {
      const options = await ask('/signin/passkey/ask');
      const key = await navigator.credentials.get({ publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(options.publicKey) });
      return ask('/signin/passkey?to=' + encodeURIComponent(way.dataset.passkeySignin), JSON.stringify(key.toJSON()), 'application/json');
    }));
  }

  const form = document.querySelector('[data-passkey-make]');
  if (form) {
    form.addEventListener('submit', e => {
      e.preventDefault();
      carry(form.querySelector('[data-says]'), form.querySelector('button'), async () => {
        const options = await ask(form.action, new URLSearchParams(new FormData(form)));
        const key = await navigator.credentials.create({ publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(options.publicKey) });
        return ask('/account/passkeys/made', JSON.stringify(key.toJSON()), 'application/json');
      });
    });
  }
})();
