// The hold meter: a block for each frame, as wide as it is held, filling refresh by refresh.

function meterWindow(rates, refresh, width) {
  const most = Math.max(8, Math.floor(width / 12));
  const period = rates.map((rate) => ratio(rate, refresh)[0]).reduce(lcm);
  const count = period * Math.max(1, Math.ceil(24 / period));
  if (count <= Math.min(most, 60)) return count;
  return Math.min(most, Math.max(24, Math.round(hertz(refresh) / 2)));
}

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

class Meter {
  constructor(canvas) {
    this.canvas = canvas;
    this.ctx = canvas.getContext("2d");
  }

  prepare(rate, refresh, window_) {
    const scale = Math.min(2, window.devicePixelRatio || 1);
    this.rate = rate;
    this.refresh = refresh;
    this.window = window_;
    this.canvas.width = Math.round(this.canvas.clientWidth * scale);
    this.canvas.height = Math.round(this.canvas.clientHeight * scale);
    this.colours = Object.fromEntries(
      ["panel", "ink", "muted", "rule", "calm", "calm-ink", "short", "short-ink"].map((n) => [n, colour(n)]),
    );
  }

  block(n, first, at) {
    const { ctx, canvas, colours } = this;
    const cell = canvas.width / this.window;
    const start = startOf(n, this.rate, this.refresh);
    const hold = holdOf(n, this.rate, this.refresh);
    const high = canvas.height * 0.74;
    const left = (start - first) * cell;
    const wide = hold * cell - Math.max(2, cell / 8);
    const kind = isShort(hold, this.rate, this.refresh) ? "short" : "calm";
    const passed = Math.max(0, Math.min(hold, at - start + 1));
    const rounded = (x, w, fill) => {
      ctx.fillStyle = fill;
      ctx.beginPath();
      if (ctx.roundRect) ctx.roundRect(x, 0, w, high, Math.min(high / 12, w / 4));
      else ctx.rect(x, 0, w, high);
      ctx.fill();
    };
    const number = this.number(hold, left, wide, high);
    rounded(left, wide, colours.panel);
    number(colours.muted);
    if (!passed) return;
    ctx.save();
    ctx.beginPath();
    ctx.rect(left, 0, passed * cell, high);
    ctx.clip();
    rounded(left, wide, colours[kind]);
    number(colours[`${kind}-ink`]);
    ctx.restore();
  }

  // What writes the count into a block, if there is room for it.
  number(hold, left, wide, high) {
    const { ctx, canvas } = this;
    const size = Math.min(high * 0.62, (canvas.width / this.window) * 1.3);
    const begin = Math.max(0, left);
    const end = Math.min(canvas.width, left + wide);
    return (ink) => {
      ctx.font = `650 ${size}px system-ui, sans-serif`;
      ctx.textAlign = "center";
      ctx.textBaseline = "middle";
      ctx.fillStyle = ink;
      if (size < 11 || ctx.measureText(String(hold)).width > end - begin) return;
      ctx.fillText(String(hold), (begin + end) / 2, high * 0.53);
    };
  }

  show(k) {
    const { ctx, canvas, colours } = this;
    if (!this.window) return;
    const first = Math.floor(k / this.window) * this.window;
    ctx.clearRect(0, 0, canvas.width, canvas.height);
    for (let n = frameAt(first, this.rate, this.refresh); ; n += 1) {
      const start = startOf(n, this.rate, this.refresh);
      if (start >= first + this.window) break;
      if (holdOf(n, this.rate, this.refresh)) this.block(n, first, k);
    }
    const cell = canvas.width / this.window;
    const top = canvas.height * 0.84;
    for (let i = 0; i < this.window; i += 1) {
      ctx.fillStyle = first + i === k ? colours.ink : colours.rule;
      ctx.fillRect(i * cell, top, cell - Math.max(1, cell / 10), canvas.height - top);
    }
  }
}
