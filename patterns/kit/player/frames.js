// What the browser says about each frame that it presented, and the holds that follow.
//
// A hold is the difference of two expected display times. It is known only where the
// second callback belongs to the very next frame presented: a missed callback is not a
// missed frame, so a gap in the count leaves the hold unobserved.

export const SKIPPED = 4; // the first callbacks belong to the player's start
export const KEPT = 12000;

export const canObserve = () => "requestVideoFrameCallback" in HTMLVideoElement.prototype;

/** Callbacks of one video element: [seconds in the clip, ms shown, frames presented]. */
export class FrameLog {
  constructor(video) {
    this.video = video;
    this.handle = 0;
    this.clear();
  }

  clear() {
    this.callbacks = [];
    this.skipped = 0;
  }

  start() {
    this.stop();
    this.clear();
    if (canObserve()) this.ask();
  }

  ask() {
    this.handle = this.video.requestVideoFrameCallback((now, frame) => {
      this.ask();
      this.take(frame);
    });
  }

  take(frame) {
    if (this.skipped < SKIPPED) {
      this.skipped += 1;
      return;
    }
    const last = this.callbacks[this.callbacks.length - 1];
    // a change of clip may set the count back: begin anew
    if (last && frame.presentedFrames <= last[2]) this.clear();
    this.callbacks.push([frame.mediaTime, frame.expectedDisplayTime, frame.presentedFrames]);
    if (this.callbacks.length > KEPT) this.callbacks.splice(0, KEPT / 10);
  }

  stop() {
    if (this.handle) this.video.cancelVideoFrameCallback(this.handle);
    this.handle = 0;
  }
}

/** Holds between callbacks: {number, refreshes (null: not observed), dropped (null: unknown)}. */
export function holdsOf(callbacks, rate, frames, interval) {
  const holds = [];
  for (let i = 1; i < callbacks.length; i += 1) {
    const [before, after] = [callbacks[i - 1], callbacks[i]];
    const number = Math.round(before[0] * rate);
    const step = Math.round(after[0] * rate) - number;
    const restart = -step > frames / 2;
    const observed = after[2] - before[2] === 1 && step > 0;
    holds.push({
      number,
      restart,
      refreshes: observed ? Math.round((after[1] - before[1]) / interval) : null,
      dropped: restart || step < 0 ? 0 : Math.max(0, step - (after[2] - before[2])),
    });
  }
  return holds;
}

/** Counts over holds, for the line under the chart. */
export function tally(holds) {
  const counts = new Map();
  let dropped = 0;
  let unobserved = 0;
  for (const hold of holds) {
    dropped += hold.dropped;
    if (hold.restart) continue;
    if (hold.refreshes === null) unobserved += 1;
    else counts.set(hold.refreshes, (counts.get(hold.refreshes) ?? 0) + 1);
  }
  return { counts, dropped, unobserved };
}

export function tallyText(rate, refresh, sum) {
  if (!refresh.interval_ms || sum.counts.size === 0) return "Watching …";
  const held = [...sum.counts.entries()]
    .sort((a, b) => a[0] - b[0])
    .map(([hold, count]) => `${count} held ${hold}`)
    .join(", ");
  const hz = (1000 / refresh.interval_ms).toFixed(2);
  return (
    `${Number(rate.toFixed(3))} fps on ${hz} Hz: ${held}; ` +
    `${sum.dropped} dropped; ${sum.unobserved} not observed`
  );
}
