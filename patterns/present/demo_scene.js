// The moving scene: a shore with survey poles, one picture wide and closed in itself. The
// shutter is a box along the motion, applied in linear light, as in the clips.

const TO_LIGHT = Float32Array.from({ length: 256 }, (_, v) => {
  const s = v / 255;
  return s <= 0.04045 ? s / 12.92 : ((s + 0.055) / 1.055) ** 2.4;
});
const FROM_LIGHT = Uint8ClampedArray.from({ length: 4097 }, (_, i) => {
  const l = i / 4096;
  return Math.round(255 * (l <= 0.0031308 ? 12.92 * l : 1.055 * l ** (1 / 2.4) - 0.055));
});
const SHORE = {
  sky: ["#cfdce2", "#e9ebe2"], far: "#a3b7c2", near: "#6f8fa1", water: ["#5b86a0", "#47708a"],
  bank: "#31465a", field: "#3f5a66", light: "#f2ede0", dark: "#16222e", flag: "#f08c1e",
};

function ridge(ctx, width, base, heights, colour) {
  ctx.fillStyle = colour;
  ctx.beginPath();
  ctx.moveTo(0, ctx.canvas.height);
  const count = Math.ceil(width / 2);
  for (let i = 0; i <= count; i += 1) {
    const x = (i / count) * width;  // ends on the border, where it meets its own beginning
    const t = (2 * Math.PI * x) / width;
    let y = base;
    for (const [turns, size, shift] of heights) y -= size * Math.sin(turns * t + shift);
    ctx.lineTo(x, y);
  }
  ctx.lineTo(width, ctx.canvas.height);
  ctx.fill();
}

function band(ctx, top, bottom, colours) {
  const paint = ctx.createLinearGradient(0, top, 0, bottom);
  paint.addColorStop(0, colours[0]);
  paint.addColorStop(1, colours[1]);
  ctx.fillStyle = paint;
  ctx.fillRect(0, top, ctx.canvas.width, bottom - top);
}

// A levelling staff: light, with dark divisions, and a flag on top.
function staff(ctx, x, top, bottom, wide) {
  ctx.fillStyle = SHORE.light;
  ctx.fillRect(x, top, wide, bottom - top);
  ctx.fillStyle = SHORE.dark;
  const part = (bottom - top) / 10;
  for (let i = 0; i < 10; i += 2) ctx.fillRect(x + (i % 4 ? wide / 2 : 0), top + i * part, wide / 2, part);
  ctx.fillStyle = SHORE.flag;
  ctx.beginPath();
  ctx.moveTo(x + wide, top);
  ctx.lineTo(x + wide * 4.2, top + part * 0.8);
  ctx.lineTo(x + wide, top + part * 1.6);
  ctx.fill();
}

function board(ctx, x, base, high) {
  ctx.fillStyle = SHORE.dark;
  ctx.font = `600 ${high * 0.5}px system-ui, sans-serif`;
  const words = "TARN HOLLOW";
  const wide = ctx.measureText(words).width + high * 0.8;
  ctx.fillRect(x + wide * 0.2, base - high * 0.4, high * 0.12, high);
  ctx.fillRect(x + wide * 0.75, base - high * 0.4, high * 0.12, high);
  ctx.fillRect(x, base - high * 1.3, wide, high);
  ctx.fillStyle = SHORE.light;
  ctx.textBaseline = "middle";
  ctx.fillText(words, x + high * 0.4, base - high * 0.78);
}

function shorePicture(width, height) {
  const canvas = document.createElement("canvas");
  canvas.width = width;
  canvas.height = height;
  const ctx = canvas.getContext("2d", { willReadFrequently: true });
  const h = height;
  band(ctx, 0, h * 0.6, SHORE.sky);
  ridge(ctx, width, h * 0.42, [[1, h * 0.05, 0.4], [3, h * 0.025, 2], [7, h * 0.008, 1]], SHORE.far);
  ridge(ctx, width, h * 0.52, [[2, h * 0.04, 1.2], [5, h * 0.018, 0], [11, h * 0.006, 2]], SHORE.near);
  band(ctx, h * 0.58, h * 0.76, SHORE.water);
  ridge(ctx, width, h * 0.77, [[1, h * 0.012, 2.2], [4, h * 0.008, 1]], SHORE.field);
  ridge(ctx, width, h * 0.87, [[2, h * 0.014, 0.6], [6, h * 0.006, 0]], SHORE.bank);
  const wide = Math.max(4, Math.round(h * 0.042));
  board(ctx, width * 0.42, h * 0.8, h * 0.15);
  staff(ctx, Math.round(width * 0.14), h * 0.2, h * 0.93, wide);
  staff(ctx, Math.round(width * 0.86), h * 0.28, h * 0.9, wide);
  return ctx.getImageData(0, 0, width, height);
}

// Mean over a box `blur` pixels wide along each row, the row closed in itself.
function blurRows(image, blur) {
  const { width, height, data } = image;
  const out = new ImageData(width, height);
  const half = blur / 2;
  const whole = Math.floor(half);
  const part = half - whole;
  const reach = whole + 1;
  const sums = new Float64Array(width + 2 * reach + 2);
  const light = new Float32Array(width + 2 * reach + 1);
  for (let y = 0; y < height; y += 1) {
    for (let c = 0; c < 3; c += 1) {
      for (let i = 0; i < light.length; i += 1) {
        const x = (((i - reach) % width) + width) % width;
        light[i] = TO_LIGHT[data[(y * width + x) * 4 + c]];
        sums[i + 1] = sums[i] + light[i];
      }
      for (let x = 0; x < width; x += 1) {
        // Samples as steps one pixel wide: the box takes parts of its end samples.
        const middle = x + reach;
        let mean = light[middle];
        if (blur > 1) {
          const right = middle + 0.5 + half;
          const left = middle + 0.5 - half;
          const r = Math.floor(right);
          const l = Math.floor(left);
          mean = (sums[r] + (right - r) * light[r] - sums[l] - (left - l) * light[l]) / blur;
        }
        out.data[(y * width + x) * 4 + c] = FROM_LIGHT[Math.round(mean * 4096)];
      }
    }
    for (let x = 0; x < width; x += 1) out.data[(y * width + x) * 4 + 3] = 255;
  }
  return out;
}

class Scene {
  constructor(canvas) {
    this.canvas = canvas;
    this.ctx = canvas.getContext("2d", { willReadFrequently: true });
    this.frame = -1;
  }

  // Size of the picture in device pixels; false while it is not laid out.
  fit() {
    const scale = Math.min(2, window.devicePixelRatio || 1);
    const width = Math.round(this.canvas.clientWidth * scale);
    const height = Math.round(this.canvas.clientHeight * scale);
    if (!width || !height) return false;
    if (width !== this.canvas.width || height !== this.canvas.height || !this.still) {
      this.canvas.width = width;
      this.canvas.height = height;
      this.still = shorePicture(width, height);
    }
    return true;
  }

  prepare(rate, angle, cross) {
    if (!this.fit()) return;
    const { width, height } = this.canvas;
    this.step = width / cross / hertz(rate);
    const blurred = blurRows(this.still, (this.step * angle) / 360);
    // Twice the picture and a little more, so that any part is one copy without a seam.
    this.wide = document.createElement("canvas");
    this.wide.width = 2 * width + 2;
    this.wide.height = height;
    const ctx = this.wide.getContext("2d");
    for (let i = 0; i < 3; i += 1) ctx.putImageData(blurred, i * width, 0);
    this.frame = -1;
  }

  show(frame) {
    if (frame === this.frame || !this.wide) return;
    this.frame = frame;
    const width = this.canvas.width;
    const moved = (frame * this.step) % width;
    this.ctx.drawImage(this.wide, -moved, 0);
    this.canvas.dataset.frame = String(frame);
  }
}
