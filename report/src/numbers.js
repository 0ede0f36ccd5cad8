// Numbers as the page has them everywhere: two digits of half of the 95 % interval, and the value by these.

const MOST_DECIMALS = 4;

function decimals(half) {
  if (!(Number.isFinite(half) && half > 0)) return null;
  const of = (value) => 1 - Math.floor(Math.log10(value));
  const clamp = (value) => Math.min(MOST_DECIMALS, Math.max(-6, value));
  const first = clamp(of(half));
  return clamp(of(round(half, first) || half));
}

function round(value, decimals) {
  const factor = 10 ** Math.abs(decimals);
  return decimals >= 0 ? Math.round(value * factor) / factor : Math.round(value / factor) * factor;
}

export function fixed(value, decimals) {
  return round(value, decimals).toFixed(Math.max(0, decimals)).replace(/^-(?=[0.]*$)/, '');
}

export function plusMinus(value, half) {
  const places = decimals(half);
  return places === null ? fixed(value, 2) : `${fixed(value, places)} ± ${fixed(half, places)}`;
}

export function byInterval(value, half) {
  return fixed(value, decimals(half) ?? 2);
}

export function twoDigits(half) {
  const places = decimals(half);
  return places === null ? '0' : fixed(half, places);
}

// The step of 1, 2 or 5 times a power of ten that is not less than a value.
export function roundStep(least) {
  const power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map((digit) => digit * power).find((step) => step >= least * (1 - 1e-9)) ?? 10 * power;
}

export function stepDecimals(step) {
  return Math.max(0, -Math.floor(Math.log10(step)));
}
