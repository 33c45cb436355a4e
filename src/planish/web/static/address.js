// The whole state lives in the address: setup, held setup, view. A restart of the server loses nothing.

const squeeze = async (bytes, Kind) =>
  new Uint8Array(await new Response(new Blob([bytes]).stream().pipeThrough(new Kind("deflate-raw"))).arrayBuffer());

function toText(bytes) {
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

function toBytes(text) {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (c) => c.charCodeAt(0));
}

export const pack = async (value) =>
  toText(await squeeze(new TextEncoder().encode(JSON.stringify(value)), CompressionStream));

export const unpack = async (text) =>
  JSON.parse(new TextDecoder().decode(await squeeze(toBytes(text), DecompressionStream)));

export async function read() {
  const parts = new URLSearchParams(location.hash.slice(1));
  const out = { view: parts.get("view") || "bench", lesson: parts.get("lesson") || "", setup: null, held: null };
  for (const [key, name] of [["s", "setup"], ["a", "held"]]) {
    if (!parts.get(key)) continue;
    try { out[name] = await unpack(parts.get(key)); } catch { out.broken = true; }
  }
  return out;
}

export async function write(state) {
  const parts = new URLSearchParams();
  if (state.view !== "bench") parts.set("view", state.view);
  if (state.view === "teach" && state.lesson) parts.set("lesson", state.lesson);
  parts.set("s", await pack(state.setup));
  if (state.held) parts.set("a", await pack(state.held));
  history.replaceState(null, "", `#${parts}`);
  return location.href;
}
