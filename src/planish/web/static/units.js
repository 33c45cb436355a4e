// Numbers for people: the trade's units or SI.

export const system = { now: "trade" };

const SHOWN = {
  pressure: { trade: ["psi", 6894.757293168], si: ["kPa", 1e3] },
  modulus: { trade: ["MPa", 1e6], si: ["MPa", 1e6] },
  rate: { trade: ["nm/min", 1e-9 / 60], si: ["nm/s", 1e-9] },
  thickness: { trade: ["nm", 1e-9], si: ["nm", 1e-9] },
  length: { trade: ["mm", 1e-3], si: ["mm", 1e-3] },
  depth: { trade: ["µm", 1e-6], si: ["µm", 1e-6] },
  speed: { trade: ["m/s", 1], si: ["m/s", 1] },
  turning: { trade: ["rpm", Math.PI / 30], si: ["rad/s", 1] },
  temperature: { trade: ["°C", 1, 273.15], si: ["K", 1, 0] },
  percent: { trade: ["%", 0.01], si: ["%", 0.01] },
  plain: { trade: ["", 1], si: ["", 1] },
};

export function unit(kind) {
  const [name, factor, offset = 0] = SHOWN[kind][system.now];
  return { name, factor, offset };
}

export const inUnit = (value, kind) => { const u = unit(kind); return (value - u.offset) / u.factor; };

export function number(value, digits = 3) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  if (value === 0) return "0";
  const size = Math.abs(value);
  if (size >= 1e5 || size < 1e-3) return value.toExponential(digits - 1).replace("e+", "e");
  const places = Math.max(0, digits - 1 - Math.floor(Math.log10(size)));
  return value.toFixed(Math.min(places, 6));
}

export function show(value, kind, digits = 3) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  return `${number(inUnit(value, kind), digits)} ${unit(kind).name}`.trim();
}
