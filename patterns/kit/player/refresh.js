// The display's refresh: a line fitted to the timestamps of animation frames.
//
// Browsers round these timestamps (0.1 ms, or 1 ms), so that neither the median nor the
// mean of their differences is the refresh. The slope of a line through timestamp against
// refresh number is; a frame that was missed only leaves a gap in the numbers.

const KEPT = 6000;
const FEWEST = 30;

/** Refresh number of each timestamp, by rounding one difference after the other. */
function numbered(times, interval) {
  const numbers = [0];
  for (let i = 1; i < times.length; i += 1) {
    const steps = Math.max(1, Math.round((times[i] - times[i - 1]) / interval));
    numbers.push(numbers[i - 1] + steps);
  }
  return numbers;
}

function line(numbers, times) {
  const n = times.length;
  const meanX = numbers.reduce((a, b) => a + b, 0) / n;
  const meanY = times.reduce((a, b) => a + (b - times[0]), 0) / n;
  let sxx = 0;
  let sxy = 0;
  for (let i = 0; i < n; i += 1) {
    sxx += (numbers[i] - meanX) ** 2;
    sxy += (numbers[i] - meanX) * (times[i] - times[0] - meanY);
  }
  const slope = sxy / sxx;
  let squares = 0;
  for (let i = 0; i < n; i += 1) {
    squares += (times[i] - times[0] - meanY - slope * (numbers[i] - meanX)) ** 2;
  }
  const spread = Math.sqrt(squares / n);
  return { slope, spread, error: spread / Math.sqrt(sxx) };
}

function fitted(times) {
  const steps = times.slice(1).map((time, i) => time - times[i]).sort((a, b) => a - b);
  // a fifth of the way up: a busy page misses many frames, which would double the median
  let interval = steps[Math.floor(steps.length / 5)];
  let found = null;
  for (let turn = 0; turn < 3; turn += 1) {
    found = line(numbered(times, interval), times);
    interval = found.slope;
  }
  return found;
}

/** What the timestamps say: interval_ms, error_ms, spread_ms, frames, state. */
export function fitRefresh(timestamps) {
  const times = timestamps.filter((time, i) => i === 0 || time > timestamps[i - 1]);
  if (times.length < FEWEST) return { state: "unknown", frames: times.length };
  const whole = fitted(times);
  const half = Math.floor(times.length / 2);
  const [early, late] = [fitted(times.slice(0, half)), fitted(times.slice(half))];
  const drift = Math.abs(early.slope - late.slope);
  const changing =
    whole.spread > Math.max(0.15 * whole.slope, 1.5) ||
    (drift > 0.01 * whole.slope && drift > 6 * (early.error + late.error));
  const saving = whole.slope > 30 && whole.slope < 36;
  return {
    interval_ms: whole.slope,
    error_ms: whole.error,
    spread_ms: whole.spread,
    frames: times.length,
    state: changing ? "changing" : saving ? "power-saving" : "steady",
  };
}

/** Whether animation frames come at the display's own refresh: WebKit's may come at half. */
export const tellsDisplay = () => !navigator.vendor.startsWith("Apple");

/** In words, for the page. */
export function refreshText(refresh) {
  if (refresh.state === "unknown") return "This screen's refresh is not known yet.";
  const hz = 1000 / refresh.interval_ms;
  if (!tellsDisplay()) {
    return (
      `This browser updates the page ${hz.toFixed(0)} times a second; the screen itself may run ` +
      "faster. To know how it holds frames, film it in slow motion and read the recording " +
      "with evenhold read."
    );
  }
  const error = (hz * refresh.error_ms) / refresh.interval_ms;
  const digits = error < 0.005 ? 2 : 1;
  const base = `This screen refreshes ${hz.toFixed(digits)} times a second`;
  if (refresh.state === "changing") return `${base} on average, but not steadily.`;
  if (refresh.state === "power-saving") {
    return `${base}: the device saves power. Charge it and switch power saving off.`;
  }
  return `${base} (spread ${refresh.spread_ms.toFixed(2)} ms).`;
}

/** Collects timestamps of animation frames for as long as it runs. */
export class RefreshMeter {
  constructor() {
    this.times = [];
    this.running = false;
  }

  start() {
    if (this.running) return;
    this.running = true;
    this.times = [];
    const take = (time) => {
      if (!this.running) return;
      this.times.push(time);
      if (this.times.length > KEPT) this.times.splice(0, this.times.length - KEPT);
      requestAnimationFrame(take);
    };
    requestAnimationFrame(take);
  }

  stop() {
    this.running = false;
  }

  /** Measure for some time and tell; again while nothing is known, as of a page in the background. */
  whenKnown(milliseconds, tell) {
    this.start();
    setTimeout(() => {
      const refresh = this.result();
      if (refresh.state === "unknown") this.whenKnown(milliseconds, tell);
      else this.stop();
      tell(refresh);
    }, milliseconds);
  }

  /** Fit over all that is kept, or over the `last` timestamps, which costs a busy page less. */
  result(last = KEPT) {
    return fitRefresh(this.times.slice(-last));
  }
}
