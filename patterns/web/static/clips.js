// The page of clips: says what this browser can do, opens the player, shows what it measured.

import { afterCaution } from "./caution.js";
import { canObserve } from "./frames.js";
import { Player } from "./player.js";
import { RefreshMeter, refreshText } from "./refresh.js";
import { observation, showSummary } from "./summary.js";

const byId = (id) => document.getElementById(id);

function markUnplayable(clips) {
  const probe = document.createElement("video");
  for (const clip of clips) {
    if (probe.canPlayType(clip.dataset.type) !== "") continue;
    clip.classList.add("unplayable");
    clip.querySelector(".detail:last-child").textContent += ": not played here";
  }
  return clips.filter((clip) => !clip.classList.contains("unplayable"));
}

function sayWhatIsMissing() {
  const missing = [];
  if (!canObserve()) {
    missing.push("This browser does not tell when frames are shown, so clips play unmeasured.");
  }
  byId("missing").textContent = missing.join(" ");
}

function measureRefresh() {
  const meter = new RefreshMeter();
  meter.start();
  setTimeout(() => {
    meter.stop();
    byId("measured").textContent = refreshText(meter.result());
  }, 3000);
}

function finished(parts) {
  if (parts) showSummary(() => observation(parts));
}

const playable = markUnplayable([...document.querySelectorAll("a.clip[data-file]")]);
const player = new Player(playable, finished);
playable.forEach((clip, at) => {
  clip.addEventListener("click", (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return; // a new tab was wanted
    event.preventDefault();
    afterCaution(() => player.play(at, clip));
  });
});
sayWhatIsMissing();
measureRefresh();
