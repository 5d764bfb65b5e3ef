// The list of clips: which of them play here, what each should do on this screen, and the player.

import { afterCaution } from "./caution.js";
import { canObserve } from "./frames.js";
import { expectedText } from "./labels.js";
import { Player } from "./player.js";
import { RefreshMeter, refreshText, tellsDisplay } from "./refresh.js";

const byId = (id) => document.getElementById(id);

function markUnplayable(clips) {
  const probe = document.createElement("video");
  for (const clip of clips) {
    if (probe.canPlayType(clip.dataset.type) !== "") continue;
    clip.classList.add("unplayable");
    clip.querySelector(".here").textContent = "not played by this browser";
    clip.addEventListener("click", (event) => {
      event.preventDefault(); // the file alone would end in an error page
      sayUnplayable(clip);
    });
  }
  return clips.filter((clip) => !clip.classList.contains("unplayable"));
}

function sayUnplayable(clip) {
  const codec = clip.dataset.type.split('"')[1] ?? clip.dataset.type;
  byId("missing").textContent =
    `This browser does not play this file (${codec}). Take a clip that it plays, another ` +
    "browser, or make the kit in another codec: evenhold kit --codec vp9";
  byId("missing").scrollIntoView({ block: "center" });
}

function sayWhatIsMissing(playable) {
  if (!canObserve()) {
    byId("missing").textContent =
      "This browser does not report when frames are shown, so clips play unmeasured.";
  } else if (playable.length === 0) {
    sayUnplayable(document.querySelector("a.clip[data-file]"));
  }
}

function measureRefresh(clips) {
  new RefreshMeter().whenKnown(3000, (refresh) => {
    byId("measured").textContent = refreshText(refresh);
    if (refresh.state !== "steady" || !tellsDisplay()) return;
    for (const clip of clips) {
      const text = expectedText(Number(clip.dataset.rate), 1000 / refresh.interval_ms);
      clip.querySelector(".here").textContent = text;
    }
  });
}

/** Bring the page to life; `finished` gets what the player measured, or null. */
export function startClips(finished) {
  const playable = markUnplayable([...document.querySelectorAll("a.clip[data-file]")]);
  const player = new Player(playable, finished);
  playable.forEach((clip, at) => {
    clip.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return; // a new tab was wanted
      event.preventDefault();
      afterCaution(() => player.play(at, clip));
    });
  });
  sayWhatIsMissing(playable);
  measureRefresh(playable);
}
