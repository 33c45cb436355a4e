// Numbers for people: the trade's units or SI.

import { SHOWN } from "./unit-table.js";

export const system = { now: "trade" };

export function unit(kind) {
  const [name, factor, offset] = SHOWN[kind][system.now];
  return { name, factor, offset };
}

// Figures as the answers name them, into SI.
export const fromCelsius = (value) => value + SHOWN.temperature.trade[2];
export const fromNmPerMin = (value) => value * SHOWN.rate.trade[1];

// A difference of rates in the chosen unit; one of temperatures is the same in both.
export const rateStep = (value) => ({ value: fromNmPerMin(value) / unit("rate").factor, name: unit("rate").name });
export const warmthStep = "K";

// Positions are shown in mm, heights of a die in nm, whichever units are chosen; a frame's clock gives ms.
export const inMm = (metres) => metres * 1e3;
export const inNm = (metres) => metres * 1e9;
export const inPercent = (share) => share * 100;
export const fromMs = (milliseconds) => milliseconds / 1e3;

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
