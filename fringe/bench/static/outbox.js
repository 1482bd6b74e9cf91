// Photographs on their way to the bench. The browser keeps them until the bench has them, so that
// a server that is away, a reload or an empty battery lose none.

const NAME = "photographs";

function opened() {
  return new Promise((done, failed) => {
    const asked = indexedDB.open("fringe-bench", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(NAME, { keyPath: "id" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
}

function finished(request) {
  return new Promise((done, failed) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });
}

export class Outbox {
  constructor() {
    this.items = []; // in the order taken
    this.database = opened().catch(() => null); // a private window may keep nothing
    this.loaded = this.load().catch(() => null);
  }

  async store(mode) {
    const database = await this.database;
    return database && database.transaction(NAME, mode).objectStore(NAME);
  }

  // What an earlier page could not send.
  async load() {
    const store = await this.store("readonly");
    if (store) this.items = (await finished(store.getAll())).sort((one, other) => one.order - other.order);
  }

  async add(file, visit, surface) {
    await this.loaded;
    // the bytes now: a file that was chosen may be gone later
    const blob = new Blob([await file.arrayBuffer()]);
    const item = { id: `${Date.now()}-${Math.random()}`, order: Date.now() + this.items.length / 1000, name: file.name, blob, visit, surface };
    this.items.push(item);
    const store = await this.store("readwrite");
    if (store) await finished(store.put(item)).catch(() => null); // no room: it stays in memory
  }

  // Send it to the visit that is on the bench now.
  readdress(visit) {
    for (const item of this.items) item.visit = visit;
  }

  async drop(item) {
    this.items = this.items.filter((one) => one !== item);
    const store = await this.store("readwrite");
    if (store) await finished(store.delete(item.id)).catch(() => null);
  }

  async clear() {
    for (const item of [...this.items]) await this.drop(item);
  }
}
