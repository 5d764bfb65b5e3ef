// The cadence in whole numbers: rates are [numerator, denominator] in hertz.

const RATES = [
  [12, 1], [15, 1], [20, 1], [24000, 1001], [24, 1], [25, 1], [30000, 1001], [30, 1], [48, 1],
  [50, 1], [60000, 1001], [60, 1], [90, 1], [120, 1],
];
const REFRESHES = [[48, 1], [50, 1], [60000, 1001], [60, 1], [72, 1], [75, 1], [90, 1], [100, 1],
  [120, 1], [144, 1], [165, 1], [240, 1]];

function gcd(a, b) {
  while (b) [a, b] = [b, a % b];
  return a;
}

function lcm(a, b) {
  return (a / gcd(a, b)) * b;
}

function hertz(rate) {
  return rate[0] / rate[1];
}

function hertzText(rate) {
  return String(Math.round(hertz(rate) * 1000) / 1000);
}

// Refreshes per frame, R/F in lowest terms.
function ratio(rate, refresh) {
  const p = refresh[0] * rate[1];
  const q = refresh[1] * rate[0];
  const g = gcd(p, q);
  return [p / g, q / g];
}

// Frame that is on screen at refresh k: floor(k F/R).
function frameAt(k, rate, refresh) {
  const [p, q] = ratio(rate, refresh);
  return Math.floor((k * q) / p);
}

// Refresh at which frame n comes on: ceil(n R/F).
function startOf(n, rate, refresh) {
  const [p, q] = ratio(rate, refresh);
  return Math.ceil((n * p) / q);
}

function holdOf(n, rate, refresh) {
  return startOf(n + 1, rate, refresh) - startOf(n, rate, refresh);
}

// The hold of most frames that show, the longer of two equally many.
function usualHold(rate, refresh) {
  const [p, q] = ratio(rate, refresh);
  return Math.max(1, Math.floor(p / q + 0.5));
}

// Whether a hold is the shorter of the two that the cadence has.
function isShort(hold, rate, refresh) {
  const [p, q] = ratio(rate, refresh);
  return hold < Math.ceil(p / q);
}

// Share of frames whose hold is not the usual one.
function oddShare(rate, refresh) {
  const [p, q] = ratio(rate, refresh);
  if (p <= q) return p === 1 || p === q ? 0 : 1 - p / q;
  return Math.abs(p / q - usualHold(rate, refresh));
}

function isEven(rate, refresh) {
  return oddShare(rate, refresh) < 0.01;
}

function cadenceWords(rate, refresh) {
  const [p, q] = ratio(rate, refresh);
  const usual = usualHold(rate, refresh);
  const times = usual === 1 ? "1 refresh" : `${usual} refreshes`;
  if (q === 1) return `Every frame is held ${times}: a steady move glides.`;
  if (p === 1) return `One frame in ${q} shows, evenly.`;
  const odd = Math.abs(hertz(refresh) - usual * hertz(rate));
  if (p < q) {
    const lost = Math.round((hertz(rate) - hertz(refresh)) * 10) / 10;
    return `${lost} frames a second never show: the move jumps ahead.`;
  }
  if (odd < 0.5) return `Held ${times}, with one slip every ${Math.round(1 / odd)} s.`;
  if (q <= 5) {
    const holds = Array.from({ length: q }, (_, n) => holdOf(n, rate, refresh));
    return `Held ${holds.join(":")} refreshes in turn: a steady move shakes.`;
  }
  const other = 2 * Math.floor(p / q) + 1 - usual;
  return `Held ${times}, but ${other} about ${Math.round(odd)} times a second: it shakes.`;
}
