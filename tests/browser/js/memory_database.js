// The browser's database in memory, as much of it as the tablet uses (W3C Indexed Database API 3.0): rows are copies, a transaction is
// all or nothing and over when nothing is asked any more. refuse({table, method, row}) may return an error, as a full disk would.
const at = (row, path) => path.split(".").reduce((value, key) => value?.[key], row);

class Transaction {
  constructor(database, error) {
    Object.assign(this, { database, error: null, asked: 0, before: new Map([...database.tables].map(([name, { rows }]) => [name, new Map(rows)])) });
    setImmediate(() => this.asked || this.over || this.end());
  }

  objectStore(name) {
    return new Table(this, name, this.database.tables.get(name));
  }

  ask(table, method, row, work) {
    const request = {};
    this.asked += 1;
    setImmediate(() => {
      if (this.over) return;
      const error = this.database.refuse({ table, method, row });
      if (error) return this.abort(error);
      request.result = work();
      request.onsuccess?.({ target: request });
      this.asked -= 1;
      if (!this.asked) setImmediate(() => this.asked || this.over || this.end());
    });
    return request;
  }

  end() {
    this.over = true;
    this.oncomplete?.();
  }

  abort(error) {
    this.over = true;
    this.error = error;
    for (const [name, rows] of this.before) this.database.tables.get(name).rows = rows;
    this.onabort?.();
  }
}

class Table {
  constructor(transaction, name, table) {
    Object.assign(this, { transaction, name, table });
  }

  ask(method, row, work) {
    return this.transaction.ask(this.name, method, row, work);
  }

  put(row, key) {
    const copy = structuredClone(row);
    return this.ask("put", copy, () => void this.table.rows.set(key ?? copy[this.table.keyPath], copy));
  }

  add(row) {
    return this.put(row);
  }

  get(key) {
    return this.ask("get", key, () => structuredClone(this.table.rows.get(key)));
  }

  delete(key) {
    return this.ask("delete", key, () => void this.table.rows.delete(key));
  }

  count() {
    return this.ask("count", null, () => this.table.rows.size);
  }

  getAll(key) {
    return this.ask("getAll", null, () => this.entries().filter(([is]) => key === undefined || is === key).map(([, , row]) => structuredClone(row)));
  }

  // [key by which it is found, primary key, row]
  entries() {
    const { path } = this;
    return [...this.table.rows].map(([key, row]) => [path ? at(row, path) : key, key, row]).filter(([key]) => key !== undefined).sort(([a], [b]) => (a < b ? -1 : a > b ? 1 : 0));
  }

  index(name) {
    return Object.assign(new Table(this.transaction, this.name, this.table), { path: this.table.indexes.get(name) });
  }

  openCursor() {
    const left = this.entries();
    const step = () => {
      if (!left.length) return null;
      const [key, primary, value] = left.shift();
      const next = () => {
        const again = this.ask("cursor", null, step);
        again.onsuccess = (event) => request.onsuccess(event);
      };
      return { key, value: structuredClone(value), delete: () => this.delete(primary), continue: next };
    };
    const request = this.ask("cursor", null, step);
    return request;
  }
}

export function memoryDatabase() {
  const database = { tables: new Map(), refuse: () => null, transaction: () => new Transaction(database), close() {} };
  database.createObjectStore = (name, { keyPath = null } = {}) => {
    const table = { rows: new Map(), indexes: new Map(), keyPath };
    database.tables.set(name, table);
    return { createIndex: (index, path) => table.indexes.set(index, path) };
  };
  const open = () => {
    const request = { result: database };
    setImmediate(() => {
      if (!database.tables.size) request.onupgradeneeded();
      request.onsuccess();
    });
    return request;
  };
  return { database, indexedDB: { open }, rows: (name) => [...database.tables.get(name).rows.values()] };
}
