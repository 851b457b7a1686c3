// What the page knows of the draft, and the way its corrections go to the journal.

const IDLE_S = 30;

export function clock() {
  let spent = 0;
  let last = performance.now();
  const touch = () => {
    const now = performance.now();
    const since = (now - last) / 1000;
    // A pause is not work: of a long one only its beginning counts.
    if (document.visibilityState === "visible") spent += Math.min(since, IDLE_S);
    last = now;
  };
  for (const kind of ["pointerdown", "keydown", "wheel"]) window.addEventListener(kind, touch, { passive: true });
  return {
    take() {
      touch();
      const told = Math.round(spent * 10) / 10;
      spent = 0;
      return told;
    },
  };
}

export class Store {
  constructor(token) {
    this.token = token;
    this.sheet = null;
    this.notes = new Map();
    this.order = [];
    this.listeners = [];
    this.clock = clock();
    this.work = Promise.resolve();
    // Changes under way, and how many there were at all.
    Object.assign(this, { pending: 0, turn: 0 });
  }

  onChange(listener) {
    this.listeners.push(listener);
  }

  async load() {
    this.put(await this.newest());
  }

  async newest() {
    const answer = await fetch("api/sheet");
    if (!answer.ok) throw new Error(await answer.text());
    return answer.json();
  }

  put(sheet) {
    this.sheet = sheet;
    this.notes = new Map(sheet.notes.map((note) => [note.id, note]));
    this.order = sheet.notes.map((note) => note.id);
    this.listeners.forEach((listener) => listener(sheet));
  }

  async question(about, aspect) {
    const query = new URLSearchParams(aspect ? { about, aspect } : { about });
    const answer = await fetch(`api/question?${query}`);
    if (!answer.ok) throw new Error(await answer.text());
    return answer.json();
  }

  /** Looks whether another window has changed the draft; a change of our own under way brings its own answer. */
  async refresh() {
    const { turn } = this;
    const own = () => this.pending > 0 || turn !== this.turn;
    if (!this.sheet || own()) return false;
    const answer = await fetch("api/revision");
    if (!answer.ok) return false;
    const newest = await answer.json();
    if (own() || (newest.revision === this.sheet.revision && newest.draft === this.sheet.draft)) return false;
    const sheet = await this.newest();
    if (own()) return false;
    this.put(sheet);
    return true;
  }

  /** Sends what `make` gives, if anything; one after the other, each on the revision that the one before gave. */
  send(make) {
    this.pending += 1;
    this.turn += 1;
    const sent = this.work.then(async () => {
      const wanted = make();
      if (wanted) await this.post(wanted.path, wanted.body);
      return wanted;
    }).finally(() => {
      this.pending -= 1;
    });
    this.work = sent.catch(() => undefined);
    return sent;
  }

  async post(path, body) {
    const full = { ...body, seen: this.sheet.revision, draft: this.sheet.draft, took_s: this.clock.take() };
    this.remember({ path, body, seen: full.seen });
    let answer;
    try {
      answer = await fetch(`api/${path}`, {
        method: "POST",
        headers: { "content-type": "application/json", "x-transcriber-token": this.token },
        body: JSON.stringify(full),
      });
    } catch {
      throw Object.assign(new Error("The server does not answer: start it again. This change waits here until then."),
        { waits: true });
    }
    if (answer.status === 403) {
      throw Object.assign(new Error(`Not kept: ${await answer.text()}.`), { waits: true });
    }
    const told = await answer.json().catch(() => {
      throw Object.assign(new Error(`The server failed (${answer.status}). This change waits here.`), { waits: true });
    });
    this.remember(null);
    if (answer.status === 409) {
      this.put(told.sheet);
      throw Object.assign(new Error("Another window changed this draft meanwhile; it is shown now."),
        { again: { path, body, words: "Kept." } });
    }
    if (!answer.ok) throw new Error(told.error);
    this.put(told);
  }

  key() {
    return `transcriber waiting ${this.sheet.draft}`;
  }

  remember(waiting) {
    try {
      if (waiting) localStorage.setItem(this.key(), JSON.stringify(waiting));
      else localStorage.removeItem(this.key());
    } catch {
      // Without storage a change that was under way as the server ended has to be made again.
    }
  }

  waiting() {
    try {
      return JSON.parse(localStorage.getItem(this.key()));
    } catch {
      return null;
    }
  }
}
