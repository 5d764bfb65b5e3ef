// What a rate should do on this screen, in few words, from the refresh that was measured.

const LONGEST_PATTERN = 12; // frames; a longer one is not recognised by eye
const SLIP_HZ = 0.5; // rarer breaks than this are slips in an even pattern
const UNSEEN_HZ = 0.02; // what the measurement itself may be off by

function holds(refreshes, frames) {
  const starts = Array.from({ length: frames + 1 }, (_, n) => Math.ceil((n * refreshes) / frames));
  return starts.slice(1).map((start, n) => start - starts[n]);
}

/** '3:2' of 24 on 60 Hz: the shortest pattern that lasts; null where there is none. */
export function expectedPattern(rate, hz) {
  for (let frames = 1; frames <= LONGEST_PATTERN; frames += 1) {
    const refreshes = Math.round((hz / rate) * frames);
    const slipHz = Math.abs(frames * hz - refreshes * rate);
    if (refreshes >= frames && slipHz < SLIP_HZ) {
      return { holds: holds(refreshes, frames), slipHz: slipHz < UNSEEN_HZ ? 0 : slipHz };
    }
  }
  return null;
}

export function expectedText(rate, hz) {
  if (rate > hz * 1.01) return "here: frames are lost";
  const found = expectedPattern(rate, hz);
  if (!found) return "here: uneven";
  const slip = found.slipHz ? `, a slip every ${(1 / found.slipHz).toFixed(0)} s` : "";
  const [first] = found.holds;
  if (found.holds.length === 1) return `here: even, ${first} each${slip}`;
  return `here: ${found.holds.join(":")}, uneven${slip}`;
}
