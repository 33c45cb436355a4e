// Colour maps computed in OKLab (Ottosson 2020, public definition): even steps of lightness along the
// blue-yellow axis, which readers with red-green colour blindness see as others do.

function fromOklab(L, a, b) {
  const l = (L + 0.3963377774 * a + 0.2158037573 * b) ** 3;
  const m = (L - 0.1055613458 * a - 0.0638541728 * b) ** 3;
  const s = (L - 0.0894841775 * a - 1.291485548 * b) ** 3;
  const linear = [
    4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s,
    -1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s,
    -0.0041960863 * l - 0.7034186147 * m + 1.707614701 * s,
  ];
  return linear.map((c) => {
    const v = Math.min(Math.max(c, 0), 1);
    return Math.round(255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055));
  });
}

const mix = (a, b, t) => a + (b - a) * t;

function table(at) {
  const out = new Uint32Array(256);
  for (let i = 0; i < 256; i++) {
    const [r, g, b] = at(i / 255);
    out[i] = (255 << 24) | (b << 16) | (g << 8) | r;
  }
  return out;
}

export const RAMP = table((t) => {
  const bend = Math.sin(Math.PI * t);
  return fromOklab(mix(0.27, 0.93, t), mix(-0.01, -0.02, t) - 0.035 * bend, mix(-0.1, 0.15, t));
});

export const DIFFERENCE = table((t) => {
  const u = Math.abs(2 * t - 1), L = 0.95 - 0.5 * u ** 1.1;
  return t < 0.5 ? fromOklab(L, -0.02 * u, -0.15 * u) : fromOklab(L, 0.07 * u, 0.13 * u);
});

export function css(lut, t) {
  const c = lut[Math.max(0, Math.min(255, Math.round(255 * t)))];
  return `rgb(${c & 255},${(c >> 8) & 255},${(c >> 16) & 255})`;
}
