// Draws the counting strip from what the server computed for this very canvas.

async function picture(address) {
  const image = new Image();
  image.src = address;
  await image.decode();
  return image;
}

/** Plan, pictures and words for a canvas of width x height at a refresh in hertz. */
export async function loadPlan(width, height, hertz) {
  const query = `?width=${width}&height=${height}&refresh=${hertz.toFixed(4)}`;
  const answer = await fetch(`live/plan.json${query}`);
  const plan = await answer.json();
  if (!answer.ok) throw new Error(plan.error);
  const [band, bars, digits, words] = await Promise.all([
    picture(`live/band.png${query}`),
    picture(`live/bars.png${query}`),
    picture(`live/digits.png${query}`),
    fetch("words.bin").then((found) => found.arrayBuffer()),
  ]);
  return { ...plan, band, bars, digits, words: new DataView(words) };
}

function clockText(plan, number) {
  const [numerator, denominator = 1] = plan.rate_exact.split("/").map(Number);
  const thousandths = Math.floor((number * 1000 * denominator) / numerator);
  const pad = (value, size) => String(value).padStart(size, "0");
  const seconds = Math.floor(thousandths / 1000);
  const minutes = Math.floor(seconds / 60);
  return (
    `${Math.floor(minutes / 60)}:${pad(minutes % 60, 2)}:${pad(seconds % 60, 2)}.` +
    pad(thousandths % 1000, 3)
  );
}

function drawFigures(context, plan, text, left) {
  const { characters, widths, height, top } = plan.figures;
  let x = left;
  for (const character of text) {
    const at = characters.indexOf(character);
    const from = widths.slice(0, at).reduce((a, b) => a + b, 0);
    const y = plan.band_top + top;
    context.drawImage(plan.digits, from, 0, widths[at], height, x, y, widths[at], height);
    x += widths[at];
  }
}

/** Draw bars and strip of one frame. */
export function drawFrame(context, plan, number) {
  const shift = (plan.period_px - ((number * plan.step_px) % plan.period_px)) % plan.period_px;
  context.drawImage(plan.bars, shift, 0, plan.width, 1, 0, 0, plan.width, plan.band_top);
  context.drawImage(plan.band, 0, plan.band_top);
  context.fillStyle = "#fff";
  const word = plan.words.getUint32(4 * number, true);
  plan.number.forEach(([left, top, width, height], i) => {
    if ((word >>> (plan.number_bits - 1 - i)) & 1) {
      context.fillRect(left, plan.band_top + top, width, height);
    }
  });
  const [left, top, width, height] = plan.hold[number % plan.hold.length];
  context.fillRect(left, plan.band_top + top, width, height);
  const digits = String(number).padStart(plan.figures.number_digits, "0");
  drawFigures(context, plan, digits, plan.figures.number_left);
  drawFigures(context, plan, clockText(plan, number), plan.figures.clock_left);
}
