// Round places along an axis, and their words.

const tens = (value) => Math.floor(Math.log10(value) + 1e-9);
// Digits that a step needs after the place of its first one: 2.5 needs one, 1, 2 and 5 none.
const spare = (step) => (Math.abs(step / 10 ** tens(step) - 2.5) < 1e-6 ? 1 : 0);

export function ticks(low, high, count) {
  const span = high - low;
  if (!(span > 0) || !Number.isFinite(span)) return [low];
  const rough = span / Math.max(count, 1), power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 2.5, 5, 10].map((m) => m * power).find((s) => s >= rough * 0.999);
  // Multiples, not a running sum: far from zero, adding a small step may change nothing, for ever.
  const first = Math.ceil(low / step - 1e-9), last = Math.floor(high / step + 1e-9);
  const all = Array.from({ length: last - first + 1 }, (_, i) => (first + i === 0 ? 0 : (first + i) * step));
  return all.filter((v, i) => i === 0 || v !== all[i - 1]); // where numbers lie further apart than the step
}

export function tickText(value, step) {
  const size = Math.abs(value), after = Math.max(0, spare(step) - tens(step));
  if (size < step * 1e-6) return "0";
  if (size >= 1e5 || size < 1e-4) {
    const digits = Math.max(0, Math.min(17, tens(size) - tens(step) + spare(step)));
    return value.toExponential(digits).replace("e+", "e");
  }
  return value.toFixed(Math.min(17, after));
}
