// The latest holds as blocks along a row of refreshes: as wide as they were held.

const MOST_REFRESHES = 60;
const LEAST_UNIT_PX = 11; // narrower than this, the figures would run into each other

function colours() {
  const style = getComputedStyle(document.documentElement);
  const value = (name) => style.getPropertyValue(name).trim();
  return {
    calm: [value("--calm"), value("--calm-ink")],
    short: [value("--short"), value("--short-ink")],
    wrong: [value("--wrong"), value("--wrong-ink")],
    ink: value("--ink"),
    rule: value("--rule"),
  };
}

function latest(holds, refreshes) {
  const shown = [];
  let width = 0;
  for (let i = holds.length - 1; i >= 0 && width < refreshes; i -= 1) {
    const span = holds[i].refreshes ?? 2;
    if (holds[i].restart) break;
    width += Math.max(1, span);
    shown.unshift(holds[i]);
  }
  return shown;
}

/** Holds that a cadence has: one where `refreshes` to a frame is whole, else the two about it. */
export function cadenceHolds(refreshes) {
  const nearest = Math.max(1, Math.round(refreshes));
  if (Math.abs(refreshes - nearest) < 0.02) return [nearest];
  return [Math.floor(refreshes), Math.ceil(refreshes)].filter((hold) => hold > 0);
}

function colourOf(refreshes, cadence, palette) {
  if (!cadence.includes(refreshes)) return palette.wrong;
  return refreshes < Math.max(...cadence) ? palette.short : palette.calm;
}

/** Draw the last 60 refreshes' worth of holds, or what fits; `cadence` has the holds due. */
export function drawChart(canvas, holds, cadence) {
  const ratio = window.devicePixelRatio || 1;
  const box = canvas.getBoundingClientRect();
  canvas.width = Math.max(1, Math.round(box.width * ratio));
  canvas.height = Math.max(1, Math.round(box.height * ratio));
  const context = canvas.getContext("2d");
  const palette = colours();
  const refreshes = Math.min(MOST_REFRESHES, Math.max(10, Math.floor(box.width / LEAST_UNIT_PX)));
  const unit = canvas.width / refreshes;
  const [top, bottom] = [0.1 * canvas.height, 0.86 * canvas.height];
  context.fillStyle = palette.rule;
  for (let i = 0; i <= refreshes; i += 1) {
    context.fillRect(Math.round(i * unit), bottom, Math.max(1, ratio), canvas.height - bottom);
  }
  context.font = `600 ${Math.round(0.36 * canvas.height)}px system-ui, sans-serif`;
  context.textAlign = "center";
  context.textBaseline = "middle";
  let x = 0;
  for (const hold of latest(holds, refreshes)) {
    const span = Math.max(1, hold.refreshes ?? 2) * unit;
    const gap = Math.min(2 * ratio, span / 6);
    if (hold.refreshes === null) {
      context.strokeStyle = palette.ink;
      context.lineWidth = ratio;
      context.setLineDash([3 * ratio, 3 * ratio]);
      context.strokeRect(x + gap, top, span - 2 * gap, bottom - top);
      context.fillStyle = palette.ink;
      if (span > 12 * ratio) context.fillText("?", x + span / 2, (top + bottom) / 2);
    } else {
      const [fill, ink] = colourOf(hold.refreshes, cadence, palette);
      // a hold that the cadence does not have is lower too: nothing is told by colour alone
      const down = fill === palette.wrong[0] ? 0.14 * canvas.height : 0;
      context.fillStyle = fill;
      context.fillRect(x + gap, top + down, span - 2 * gap, bottom - top - down);
      context.fillStyle = ink;
      if (span > 10 * ratio) context.fillText(hold.refreshes, x + span / 2, (top + down + bottom) / 2);
    }
    x += span;
    if (hold.dropped) {
      context.fillStyle = palette.wrong[0];
      context.fillRect(x - ratio, 0, 3 * ratio, canvas.height);
    }
  }
}
