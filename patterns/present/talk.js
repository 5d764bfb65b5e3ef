// The talk: one slide at a time, by keys, taps and buttons. Nothing moves unasked.

const root = document.documentElement;
const $ = (id) => document.getElementById(id);
const slides = [...document.querySelectorAll(".slide")];
const lessMotion = window.matchMedia("(prefers-reduced-motion: reduce)");
let at = 0;
let notesWindow = null;

const clip = () => slides[at].querySelector(".clip");
const numbered = (hash) => slides.findIndex((slide) => `#${slide.id}` === hash);
const video = () => slides[at].querySelector("video");

function label() {
  const moving = video() && !video().paused;
  $("play").textContent = moving ? "Pause" : "Play";
  $("play").disabled = !clip();
  $("previous").disabled = at === 0;
  $("next").disabled = at === slides.length - 1;
}

// A clip's picture is a link to its file; the player is laid over it when it is asked for.
function play() {
  if (!clip()) return;
  if (!history.state?.warned) { // came by a link past the first slide and its caution
    show(0);
    return;
  }
  let player = video();
  if (player) {
    if (player.paused) player.play();
    else player.pause();
    return;
  }
  player = document.createElement("video");
  Object.assign(player, { muted: true, loop: true, playsInline: true, src: clip().href });
  player.setAttribute("aria-hidden", "true"); // the link around it is what is operated
  for (const event of ["play", "pause"]) player.addEventListener(event, label);
  player.addEventListener("error", () => {
    player.remove();
    $("place").textContent = "This browser cannot play the clip: open it in a video player.";
  });
  clip().classList.add("begun");
  clip().append(player);
  player.play().catch(() => {}); // what went wrong comes as an error of the player
}

function show(number) {
  const next = Math.max(0, Math.min(slides.length - 1, number));
  video()?.remove();
  clip()?.classList.remove("begun");
  slides.forEach((slide, i) => { slide.hidden = i !== next; });
  at = next;
  slides[at].scrollTop = 0;
  $("place").textContent = `${at + 1} of ${slides.length}`;
  // kept over a reload in the middle of a talk
  const warned = at === 0 || Boolean(history.state?.warned);
  history.replaceState({ warned }, "", `#${slides[at].id}`);
  notesWindow?.postMessage({ slide: at }, "*"); // pages from a folder have no origin to name
  label();
}

// Play the clip before the next slide comes; at once the next one where motion is not wanted.
function goOn() {
  if (clip() && !video() && !lessMotion.matches) play();
  else show(at + 1);
}

function fullScreen() {
  if (document.fullscreenElement) document.exitFullscreen();
  else root.requestFullscreen?.().catch(() => {});
}

function notes() {
  const on = root.classList.toggle("with-notes");
  $("notes").setAttribute("aria-pressed", String(on));
}

const KEYS = {
  " ": goOn, PageDown: goOn, ArrowRight: () => show(at + 1),
  ArrowLeft: () => show(at - 1), PageUp: () => show(at - 1),
  Home: () => show(0), End: () => show(slides.length - 1),
  Enter: play, f: fullScreen, n: notes,
};

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  // a button or link under the focus keeps the keys that press it
  const pressed = event.key === "Enter" || (event.key === " " && event.target.tagName === "BUTTON");
  if (pressed && event.target.closest("a, button")) return;
  const action = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!action) return;
  event.preventDefault();
  action();
});

for (const [id, action] of Object.entries({
  previous: () => show(at - 1), next: () => show(at + 1), play, full: fullScreen, notes,
})) {
  $(id).addEventListener("click", (event) => {
    action();
    if (event.detail) $(id).blur(); // pressed by hand: the space bar goes on with the slides
  });
}
for (const slide of slides) {
  slide.querySelector(".clip")?.addEventListener("click", (event) => {
    event.preventDefault();
    play();
  });
}
for (const link of document.querySelectorAll("ol a")) {
  link.addEventListener("click", (event) => {
    event.preventDefault();
    show(numbered(link.hash));
  });
}
$("notes-window").addEventListener("click", (event) => {
  event.preventDefault();
  notesWindow = window.open(event.target.href, "notes");
});
window.addEventListener("message", (event) => {
  if (event.source === notesWindow) notesWindow.postMessage({ slide: at }, "*");
});

let touch = null;
document.addEventListener("touchstart", (event) => { touch = event.changedTouches[0]; });
document.addEventListener("touchend", (event) => {
  const end = event.changedTouches[0];
  const [across, down] = [end.clientX - touch.clientX, end.clientY - touch.clientY];
  if (Math.abs(across) > 60 && Math.abs(across) > 2 * Math.abs(down)) show(at - Math.sign(across));
});

let idle = 0;
function awake() {
  root.classList.remove("idle");
  clearTimeout(idle);
  idle = setTimeout(() => root.classList.add("idle"), 2500);
}
for (const event of ["pointermove", "pointerdown", "focusin"]) document.addEventListener(event, awake);
document.addEventListener("fullscreenchange", () => {
  root.classList.toggle("full", Boolean(document.fullscreenElement));
  awake();
});
$("full").hidden = !document.fullscreenEnabled;
$("still").hidden = !lessMotion.matches;
root.classList.add("talk");
show(numbered(location.hash));
// the browser gives the slide that the address names the focus, and a frame with it
window.addEventListener("load", () => setTimeout(() => document.activeElement.blur()));
window.addEventListener("hashchange", () => show(numbered(location.hash)));
