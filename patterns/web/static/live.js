// Bars that are drawn anew at every refresh, with their number in a strip of their own.

import { afterCaution } from "./caution.js";
import { KEPT, SKIPPED } from "./frames.js";
import { RefreshMeter, fitRefresh, refreshText } from "./refresh.js";
import * as display from "./screen.js";
import { ShyBars } from "./shy.js";
import { drawFrame, loadPlan } from "./strip.js";
import { observation, showSummary } from "./summary.js";

const byId = (id) => document.getElementById(id);

class LiveBars {
  constructor() {
    this.stage = byId("stage");
    this.canvas = byId("bars");
    this.wake = new display.WakeLock();
    this.shy = new ShyBars(this.stage);
    this.refresh = null;
    this.run = 0;
  }

  /** Canvas that covers the stage with whole screen pixels, even ones as the strip needs. */
  fit() {
    const ratio = window.devicePixelRatio || 1;
    const even = (css) => Math.max(2, 2 * Math.floor((css * ratio) / 2));
    const box = this.stage.getBoundingClientRect();
    this.canvas.width = Math.min(8192, even(box.width));
    this.canvas.height = Math.min(8192, even(box.height));
    this.canvas.style.width = `${this.canvas.width / ratio}px`;
    this.canvas.style.height = `${this.canvas.height / ratio}px`;
  }

  async start() {
    document.querySelector("main").inert = true;
    this.stage.hidden = false;
    this.stage.focus();
    this.shy.show();
    this.wake.hold();
    if (!WAKES) awakeVideo()?.play().catch(() => {});
    await display.enterFullScreen(this.stage);
    await this.begin();
  }

  async begin() {
    const run = (this.run += 1);
    this.fit();
    byId("live").textContent = "Getting ready …";
    let plan;
    try {
      plan = await loadPlan(this.canvas.width, this.canvas.height, 1000 / this.refresh.interval_ms);
    } catch (error) {
      byId("live").textContent = error.message;
      return;
    }
    if (run !== this.run || this.stage.hidden) return;
    Object.assign(this, { plan, times: [], callbacks: [], hidden: false });
    const context = this.canvas.getContext("2d", { alpha: false });
    context.imageSmoothingEnabled = false;
    let number = -1;
    let seen = 0;
    const interval = 1000 / plan.rate;
    const draw = (time) => {
      if (run !== this.run || this.stage.hidden) return;
      requestAnimationFrame(draw);
      const last = this.times[this.times.length - 1];
      // the number counts refreshes, so that a missed one is a missing number
      number += last === undefined ? 1 : Math.max(1, Math.round((time - last) / interval));
      number %= plan.frames;
      drawFrame(context, plan, number);
      seen += 1;
      this.times.push(time);
      if (seen > SKIPPED) this.callbacks.push([number / plan.rate, time, seen]);
      for (const list of [this.times, this.callbacks]) if (list.length > KEPT) list.splice(0, KEPT / 10);
    };
    requestAnimationFrame(draw);
    clearInterval(this.timer);
    this.timer = setInterval(() => this.tell(), 500);
  }

  tell() {
    if (document.hidden) this.hidden = true;
    const refresh = fitRefresh(this.times.slice(-1000));
    if (!refresh.interval_ms) return;
    const missed = this.callbacks.filter(
      (call, i) => i > 0 && Math.round((call[0] - this.callbacks[i - 1][0]) * this.plan.rate) !== 1,
    ).length;
    byId("live").textContent =
      `${(1000 / refresh.interval_ms).toFixed(2)} Hz, a bar crosses in ` +
      `${this.plan.crossing_s.toFixed(1)} s; ${this.callbacks.length} drawn, ${missed} late`;
  }

  finish() {
    const refresh = fitRefresh(this.times ?? []);
    const callbacks = [...(this.callbacks ?? [])];
    const shown = {
      full_screen: display.isFullScreen(),
      pixels_per_pixel: 1,
      hidden: this.hidden ?? false,
    };
    this.close();
    if (!refresh.interval_ms || callbacks.length < 2) return;
    const counters = { total: null, dropped: null };
    showSummary(() =>
      observation({ clip: null, refresh, callbacks, skipped: SKIPPED, counters, shown }),
    );
  }

  close() {
    this.run += 1;
    clearInterval(this.timer);
    this.shy.stop();
    this.stage.hidden = true;
    this.wake.release();
    awakeVideo()?.pause();
    display.leaveFullScreen();
    document.querySelector("main").inert = false;
    byId("start").focus();
  }
}

const WAKES = display.WakeLock.offered;
// Where the wake-lock interface is missing, only a playing video keeps the screen on.
const awakeVideo = () => byId("awake");

const bars = new LiveBars();
byId("start").onclick = () => afterCaution(() => bars.start());
byId("finish").onclick = () => bars.finish();
byId("full").onclick = () =>
  display.isFullScreen() ? display.leaveFullScreen() : display.enterFullScreen(bars.stage);
bars.stage.addEventListener("pointerup", (event) => {
  if (!event.target.closest(".bar")) bars.shy.toggle();
});
bars.stage.addEventListener("keydown", (event) => {
  if (event.key === "Tab") bars.shy.show();
  if (event.key === "Escape" || event.key === "s") bars.finish();
  else if (event.key === "f") byId("full").click();
});
let resizing = 0;
window.addEventListener("resize", () => {
  clearTimeout(resizing);
  resizing = setTimeout(() => !bars.stage.hidden && bars.plan && bars.begin(), 300);
});

new RefreshMeter().whenKnown(2000, (refresh) => {
  bars.refresh = refresh;
  byId("measured").textContent = refreshText(refresh);
  byId("start").disabled = !refresh.interval_ms;
});
