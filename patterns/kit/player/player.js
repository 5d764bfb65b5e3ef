// The player: one clip after the other, full screen, measured while it loops.

import { cadenceHolds, drawChart } from "./chart.js";
import { FrameLog, canObserve, holdsOf, tally, tallyText } from "./frames.js";
import { RefreshMeter, tellsDisplay } from "./refresh.js";
import * as display from "./screen.js";
import { ShyBars } from "./shy.js";

const byId = (id) => document.getElementById(id);
const SWIPE_PX = 60;

export class Player {
  /** `clips` are the links of the page in their order; `onFinish` gets the observation's parts. */
  constructor(clips, onFinish) {
    this.clips = clips;
    this.onFinish = onFinish;
    this.box = byId("player");
    this.video = byId("video");
    this.meter = new RefreshMeter();
    this.log = new FrameLog(this.video);
    this.wake = new display.WakeLock();
    this.bars = new ShyBars(this.box, () => this.video.paused);
    this.at = 0;
    this.hiddenOnce = false;
    this.listen();
  }

  get open() {
    return !this.box.hidden;
  }

  get clip() {
    return this.clips[this.at];
  }

  /** Begin with clip number `at`; called from a tap or a key. */
  play(at, opener) {
    this.opener = opener ?? this.clips[at];
    document.querySelector("main").inert = true;
    this.box.hidden = false;
    this.box.focus();
    this.wake.hold();
    this.load(at);
    this.fill();
    this.timer = setInterval(() => this.refreshChart(), 250);
  }

  load(at) {
    this.at = (at + this.clips.length) % this.clips.length;
    const { file, name, poster } = this.clip.dataset;
    byId("title").textContent = name;
    byId("live").textContent = this.watching();
    byId("chart").hidden = !tellsDisplay();
    this.hiddenOnce = false;
    this.video.poster = poster;
    this.video.src = this.clip.getAttribute("href");
    this.video.setAttribute("aria-label", file);
    this.meter.stop();
    this.meter = new RefreshMeter();
    this.meter.start();
    this.log.start();
    this.begin();
    this.note();
    this.bars.show();
  }

  watching() {
    if (!canObserve()) {
      return "This browser does not report when frames are shown: the clip plays, unmeasured.";
    }
    if (!tellsDisplay()) {
      return "This browser does not report the screen's own refresh: film the screen to know it.";
    }
    return "Watching …";
  }

  async begin() {
    try {
      await this.video.play();
      byId("pause").textContent = "Pause";
    } catch (error) {
      // a change of clip interrupts the play before it, which is no failure
      if (error.name !== "AbortError") byId("live").textContent = "It does not play: press Play.";
      byId("pause").textContent = this.video.paused ? "Play" : "Pause";
    }
  }

  async fill() {
    const filled = await display.enterFullScreen(this.box, this.video);
    // closed in the meantime: a hidden box that fills the screen would let nothing be tapped
    if (!this.open) return display.leaveFullScreen();
    const { width, height } = this.clip.dataset;
    if (filled) await display.turnScreen(Number(width), Number(height));
    this.note();
  }

  note() {
    const { width, height } = this.clip.dataset;
    const box = this.video.getBoundingClientRect();
    const texts = [
      display.scalingText(display.pixelsPerPixel(box, width, height)),
      display.orientationText(box, Number(width), Number(height)),
    ];
    byId("scaling").textContent = texts.filter(Boolean).join(" ");
  }

  pause() {
    if (this.video.paused) {
      this.log.start(); // a pause is no hold
      this.begin();
    } else {
      this.video.pause();
      this.log.stop();
      byId("pause").textContent = "Play";
    }
    this.bars.show();
  }

  refreshChart() {
    if (document.hidden) this.hiddenOnce = true;
    const refresh = this.meter.result(1000);
    if (!refresh.interval_ms || this.bars.hidden || !tellsDisplay()) return;
    byId("refresh").textContent = `${(1000 / refresh.interval_ms).toFixed(2)} Hz`;
    const { rate, frames } = this.clip.dataset;
    const holds = holdsOf(this.log.callbacks, Number(rate), Number(frames), refresh.interval_ms);
    const sum = tally(holds);
    const due = cadenceHolds(1000 / refresh.interval_ms / Number(rate));
    drawChart(byId("chart"), holds, due);
    if (canObserve()) byId("live").textContent = tallyText(Number(rate), refresh, sum);
  }

  /** What the server needs to make a reading; null where nothing was measured. */
  parts() {
    const refresh = this.meter.result();
    if (!refresh.interval_ms || this.log.callbacks.length < 2) return null;
    const quality = this.video.getVideoPlaybackQuality?.();
    const box = this.video.getBoundingClientRect();
    const { file, width, height } = this.clip.dataset;
    return {
      clip: file,
      refresh,
      callbacks: [...this.log.callbacks],
      skipped: this.log.skipped,
      counters: {
        total: quality?.totalVideoFrames ?? null,
        dropped: quality?.droppedVideoFrames ?? null,
      },
      shown: {
        full_screen: display.isFullScreen(),
        pixels_per_pixel: display.pixelsPerPixel(box, width, height),
        hidden: this.hiddenOnce,
      },
    };
  }

  finish() {
    const parts = this.parts();
    this.close();
    this.onFinish(parts);
  }

  close() {
    if (!this.open) return;
    clearInterval(this.timer);
    this.bars.stop();
    this.video.pause();
    this.log.stop();
    this.meter.stop();
    this.video.removeAttribute("src");
    this.video.load();
    this.wake.release();
    display.leaveFullScreen();
    this.box.hidden = true;
    document.querySelector("main").inert = false;
    this.opener?.focus();
  }

  listen() {
    byId("next").onclick = () => this.load(this.at + 1);
    byId("previous").onclick = () => this.load(this.at - 1);
    byId("pause").onclick = () => this.pause();
    byId("full").onclick = () =>
      display.isFullScreen() ? display.leaveFullScreen() : this.fill();
    byId("finish").onclick = () => this.finish();
    byId("close").onclick = () => this.close();
    this.box.addEventListener("keydown", (event) => this.key(event));
    this.listenToFingers();
    for (const name of ["resize", "orientationchange", "fullscreenchange"]) {
      window.addEventListener(name, () => this.open && this.note());
    }
    document.addEventListener("fullscreenchange", () => {
      byId("full").textContent = display.isFullScreen() ? "Leave full screen" : "Full screen";
    });
  }

  listenToFingers() {
    let from = null;
    this.box.addEventListener("pointerdown", (event) => {
      from = event.target.closest(".bar") ? null : [event.clientX, event.clientY];
    });
    this.box.addEventListener("pointercancel", () => (from = null));
    this.box.addEventListener("pointerup", (event) => {
      if (!from) return;
      const [x, y] = [event.clientX - from[0], event.clientY - from[1]];
      from = null;
      if (Math.abs(x) > SWIPE_PX && Math.abs(x) > 2 * Math.abs(y)) {
        this.load(this.at + (x < 0 ? 1 : -1));
      } else this.bars.toggle();
    });
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const actions = {
      ArrowRight: () => this.load(this.at + 1),
      ArrowLeft: () => this.load(this.at - 1),
      " ": () => this.pause(),
      f: () => byId("full").click(),
      s: () => this.finish(),
      Escape: () => this.close(),
    };
    // a button that has the focus takes its own space
    if (event.key === " " && event.target.closest("button")) return;
    if (event.key === "Tab") this.keepFocus(event);
    const action = actions[event.key];
    if (!action) return;
    event.preventDefault();
    action();
  }

  /** Tab goes round within the player. */
  keepFocus(event) {
    this.bars.show();
    const stops = [...this.box.querySelectorAll("button")];
    const [first, last] = [stops[0], stops[stops.length - 1]];
    const at = document.activeElement;
    if (event.shiftKey ? at === first || at === this.box : at === last) {
      event.preventDefault();
      (event.shiftKey ? last : first).focus();
    }
  }
}
