// Talking to the server: JSON questions, packed binary answers, the newest question wins.

export class Refusal extends Error {}

// Names this page among several of one person: of its questions of a kind the server answers only the newest.
const PAGE = crypto.getRandomValues(new Uint32Array(2)).join("-");

export async function ask(path, body, method, signal) {
  const options = { method: method || (body === undefined ? "GET" : "POST"), headers: { "X-Page": PAGE }, signal };
  if (body !== undefined) {
    options.headers["Content-Type"] = "application/json";
    options.body = JSON.stringify(body);
  }
  const reply = await fetch(path, options);
  if (!reply.ok) await refuse(reply);
  return reply;
}

async function refuse(reply) {
  if (reply.status === 401 && location.pathname !== "/sign-in") { location.assign("/sign-in"); }
  let words = `the server answered ${reply.status}`;
  try { words = (await reply.json()).refused || words; } catch { /* no JSON: the status says it */ }
  throw new Refusal(words);
}

export const askJson = async (path, body, method) => (await ask(path, body, method)).json();
export const askPacked = async (path, body, signal) => unpack(await (await ask(path, body, undefined, signal)).arrayBuffer());

export function unpack(buffer) {
  const size = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, size)));
  const arrays = {};
  let at = 4 + size;
  for (const { name, shape } of header.arrays) {
    const count = shape.reduce((a, b) => a * b, 1);
    arrays[name] = new Float32Array(buffer, at, count);
    arrays[name].shape = shape;
    at += 4 * count;
  }
  return { header, arrays };
}

// Of questions of one kind only the newest is waited for: the one before is given up, and its answer never comes.
export class Latest {
  async ask(path, body) {
    this.going?.abort();
    const mine = new AbortController();
    this.going = mine;
    return (await ask(path, body, undefined, mine.signal)).json();
  }
}

export const gaveUp = (error) => error.name === "AbortError";

// One question on its way; of those that come meanwhile only the newest is asked, at most every `gap` ms.
export class Newest {
  constructor(run, gap = 50) {
    this.run = run; this.gap = gap; this.busy = false; this.next = null; this.last = -Infinity; this.timer = 0;
  }
  ask(question) {
    this.next = question;
    this.pump();
  }
  async pump() {
    if (this.busy || this.next === null || this.timer) return;
    const wait = this.last + this.gap - performance.now();
    if (wait > 1) {
      this.timer = setTimeout(() => { this.timer = 0; this.pump(); }, wait);
      return;
    }
    const question = this.next;
    this.next = null; this.busy = true; this.last = performance.now();
    try { await this.run(question, () => this.next !== null); } finally { this.busy = false; this.pump(); }
  }
}

export async function saveAs(path, body, name) {
  const reply = await ask(path, body);
  saveBlob(await reply.blob(), name);
}

export function saveBlob(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}
