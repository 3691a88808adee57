// The journal's other half. What the server has not yet acknowledged lies in localStorage, so that it outlives a page
// or a server that dies; a lost connection is made again, and what waited is sent with the revision it was made on.

const LONGEST_WAIT = 3000;

/**
 * @param {string} place address of this page's folder, the same for every page on this case
 * @param {(message: object) => void} heard called with every event of the server, and {event: "connection", ...}
 */
export async function openStore(place, heard) {
  const unsent = new Unsent(place);
  await unsent.claim();
  return new Store(place, unsent, heard);
}

class Store {
  constructor(place, unsent, heard) {
    this.place = place;
    this.unsent = unsent;
    this.heard = heard;
    this.number = 0;
    this.waiting = new Map();
    this.wait = 200;
    this.isOpen = false;
    this.inFlight = null;
    this.connect();
  }

  get page() {
    return this.unsent.page;
  }

  /** Changes that are not acknowledged, oldest first. */
  get pending() {
    return this.unsent.changes;
  }

  connect() {
    const socket = new WebSocket(`${this.place.replace(/^http/, "ws")}live`);
    this.socket = socket;
    socket.onmessage = (event) => this.receive(JSON.parse(event.data));
    socket.onclose = () => {
      if (socket !== this.socket) return;
      this.isOpen = false;
      this.inFlight = null;
      for (const { reject } of this.waiting.values()) reject(new Error("The server is away."));
      this.waiting.clear();
      this.heard({ event: "connection", isOpen: false });
      setTimeout(() => this.connect(), this.wait);
      this.wait = Math.min(2 * this.wait, LONGEST_WAIT);
    };
  }

  receive(message) {
    if ("answer" in message) {
      const asked = this.waiting.get(message.answer);
      this.waiting.delete(message.answer);
      if (!asked) return;
      if ("error" in message) asked.reject(new Refusal(message.error));
      else asked.resolve(message.result);
      return;
    }
    if (message.event === "hello") {
      this.isOpen = true;
      this.wait = 200;
    }
    this.heard(message);
    if (message.event === "hello") {
      this.heard({ event: "connection", isOpen: true });
      this.flush();
    }
  }

  /** A question to the server; rejects with one sentence. */
  ask(message) {
    if (!this.isOpen) return Promise.reject(new Error("The server is away."));
    this.number += 1;
    const number = this.number;
    return new Promise((resolve, reject) => {
      this.waiting.set(number, { resolve, reject });
      this.socket.send(JSON.stringify({ number, message }));
    });
  }

  /** Keep a change: here at once, on the server as soon as it is there. */
  change(keys, values, seen) {
    this.unsent.add({ id: crypto.randomUUID(), keys, values, seen, page: this.page });
    this.flush();
  }

  async flush() {
    const change = this.unsent.changes[0];
    if (!change || !this.isOpen || this.inFlight) return;
    this.inFlight = change;
    let answer;
    try {
      answer = await this.ask({ ask: "change", ...change });
    } catch (error) {
      if (!(error instanceof Refusal)) return; // the connection broke; it is sent again, under the same id
      answer = { answer: "refused", words: error.message };
    }
    this.inFlight = null;
    this.unsent.remove(change.id);
    this.heard({ event: "answer", change, ...answer });
    this.flush();
  }
}

/** The server's own refusal, as against a connection that broke. */
export class Refusal extends Error {}

/** Changes in localStorage, one list a page; a page that opens takes over the lists of pages that are gone. */
class Unsent {
  constructor(place) {
    this.start = `unsent:${place}:`;
    this.page = sessionStorage.getItem(`page:${place}`) ?? crypto.randomUUID();
    this.place = place;
    this.changes = [];
  }

  async claim() {
    // A copied tab brings its original's name along.
    if (!(await hold(this.start + this.page))) {
      this.page = crypto.randomUUID();
      await hold(this.start + this.page);
    }
    sessionStorage.setItem(`page:${this.place}`, this.page);
    const lists = Object.keys(localStorage).filter((key) => key.startsWith(this.start));
    for (const key of lists) {
      if (key === this.start + this.page) this.changes = [...read(key), ...this.changes];
      else if (await hold(key)) {
        this.changes.push(...read(key));
        this.write();
        localStorage.removeItem(key);
      }
    }
    this.write();
  }

  add(change) {
    this.changes = [...this.changes, change];
    this.write();
  }

  remove(id) {
    this.changes = this.changes.filter((change) => change.id !== id);
    this.write();
  }

  write() {
    const key = this.start + this.page;
    try {
      if (this.changes.length) localStorage.setItem(key, JSON.stringify(this.changes));
      else localStorage.removeItem(key);
    } catch {
      // The browser's store is full: the change still goes to the server, only a page that dies first would lose it.
    }
  }
}

/** Hold a name as long as this page lives; false if another page holds it. */
function hold(name) {
  return new Promise((resolve) => {
    navigator.locks.request(name, { ifAvailable: true }, (lock) => {
      resolve(lock !== null);
      return lock && new Promise(() => {});
    });
  });
}

function read(key) {
  try {
    const list = JSON.parse(localStorage.getItem(key));
    return Array.isArray(list) ? list : [];
  } catch {
    return [];
  }
}
