// The page: settings, playing against the real refresh, stepping; nothing moves unasked.

const { RefreshMeter, tellsDisplay } = modules.refresh;
const $ = (id) => document.getElementById(id);
const state = {
  playing: false, refresh: 0, late: 0, measured: null, realCount: 0,
  startStamp: 0, startRefresh: 0, lastStamp: null,
};
const sides = ["a", "b"].map((side) => ({
  side,
  scene: new Scene($(`scene-${side}`)),
  meter: new Meter($(`meter-${side}`)),
}));

const chosenRate = (side) => RATES[Number($(`rate-${side}`).value)];
const slowness = () => Number($("slow").value);

function screenRefresh() {
  if (state.measured === null) return [60, 1];
  const near = REFRESHES.filter((r) => r[1] === 1)
    .find((r) => Math.abs(hertz(r) / state.measured - 1) < 0.015);
  return near || [Math.max(1, Math.round(state.measured * 10)), 10];
}

function chosenRefresh() {
  const index = Number($("refresh").value);
  return index ? REFRESHES[index - 1] : screenRefresh();
}

function show() {
  const refresh = chosenRefresh();
  for (const { side, scene, meter } of sides) {
    scene.show(frameAt(state.refresh, chosenRate(side), refresh));
    meter.show(state.refresh);
  }
  document.body.dataset.refresh = String(state.refresh);
}

function countWords(side) {
  const refresh = chosenRefresh();
  const rate = chosenRate(side);
  const n = frameAt(state.refresh, rate, refresh);
  const passed = state.refresh - startOf(n, rate, refresh) + 1;
  return `frame ${n}, refresh ${passed} of ${holdOf(n, rate, refresh)}`;
}

function describe() {
  if (state.playing) {
    const late = state.late === 1 ? "1 late refresh" : `${state.late} late refreshes`;
    const slow = slowness() > 1 ? `slowed ${slowness()} times` : "at full speed";
    $("status").textContent = `Playing ${slow}; ${late} of this page.`;
  } else {
    $("status").textContent =
      `Refresh ${state.refresh}. First: ${countWords("a")}. Second: ${countWords("b")}.`;
  }
}

function describeScreen() {
  const index = Number($("refresh").value);
  if (state.measured === null) {
    $("measured").textContent = "Measuring the refresh of this screen ...";
    return;
  }
  const own = screenRefresh();
  const what = tellsDisplay() ? "This screen refreshes" : "This browser updates the page";
  let words = `${what} about ${hertzText(own)} times a second, measured in this page.`;
  if (index && hertz(chosenRefresh()) !== hertz(own) && slowness() === 1) {
    words += hertz(chosenRefresh()) > hertz(own)
      ? ` It cannot show ${hertzText(chosenRefresh())} Hz at full speed: slow it to see every hold.`
      : ` ${hertzText(chosenRefresh())} Hz is imitated: changes wait for this screen's next refresh.`;
  }
  $("measured").textContent = words;
}

function prepare() {
  const refresh = chosenRefresh();
  const rates = sides.map(({ side }) => chosenRate(side));
  const count = meterWindow(rates, refresh, $("meter-a").clientWidth);
  const cross = Number($("speed").value);
  const angle = Number($("shutter").value);
  sides.forEach(({ side, scene, meter }, i) => {
    scene.prepare(rates[i], angle, cross);
    meter.prepare(rates[i], refresh, count);
    const name = hertzText(rates[i]);
    const even = isEven(rates[i], refresh);
    $(`name-${side}`).textContent = `${name} fps`;
    $(`mark-${side}`).textContent = even ? "even" : "uneven";
    $(`mark-${side}`).className = `mark ${even ? "even" : "uneven"}`;
    $(`verdict-${side}`).textContent = cadenceWords(rates[i], refresh);
    $(`rate-${side}-out`).textContent = `${name} fps`;
    $(`rate-${side}`).setAttribute("aria-valuetext", `${name} frames a second`);
  });
  $("refresh-label").textContent = Number($("refresh").value) ? "Refresh" : "This screen";
  $("refresh-out").textContent = `${hertzText(refresh)} Hz`;
  $("refresh").setAttribute("aria-valuetext", $("refresh-out").textContent);
  $("shutter-out").textContent = `${angle}°`;
  $("speed-out").textContent = `${cross} s`;
  restart();
  show();
  describe();
  describeScreen();
}

// Count on from here: after a change of settings, or when playing starts.
function restart() {
  state.lastStamp = null;
  state.realCount = 0;
  state.startRefresh = state.refresh;
}

function advance(stamp) {
  if (state.lastStamp === null) {
    state.startStamp = stamp;
  } else {
    const own = hertz(screenRefresh());
    const passed = Math.max(1, Math.round(((stamp - state.lastStamp) / 1000) * own));
    state.late += passed - 1;
    state.realCount += passed;
    const refresh = hertz(chosenRefresh());
    // On the screen's own refresh count its refreshes; another one follows the clock.
    const gone = refresh === own
      ? Math.floor(state.realCount / slowness())
      : Math.floor((((stamp - state.startStamp) / 1000) * refresh) / slowness() + 0.5);
    state.refresh = state.startRefresh + gone;
  }
  state.lastStamp = stamp;
}

function tick(stamp) {
  if (!state.playing) return;
  advance(stamp);
  show();
  if (stamp - (tick.said || 0) > 1000) {
    tick.said = stamp;
    describe();
  }
  requestAnimationFrame(tick);
}

function play(on) {
  if (state.playing === on) return;
  state.playing = on;
  state.late = 0;
  $("play").textContent = on ? "Pause" : "Go on";
  restart();
  describe();
  if (!on) return;
  // Both pictures must be in sight; on a small screen what stands above makes room.
  const { top, bottom } = $("stage").getBoundingClientRect();
  if (top < 0 || bottom > window.innerHeight) $("stage").scrollIntoView();
  requestAnimationFrame(tick);
}

function step(by) {
  play(false);
  state.refresh = Math.max(0, state.refresh + by);
  show();
  describe();
}

// The display's refresh, as the page of clips measures it: a busy device only misses frames.
function measure() {
  new RefreshMeter().whenKnown(600, (refresh) => {
    if (refresh.state === "unknown") return;
    state.measured = 1000 / refresh.interval_ms;
    document.body.dataset.measured = state.measured.toFixed(2);
    prepare();
  });
}

// The rates that the page was made for; ones that the slider lacks are put in their place.
function setRates() {
  const wanted = JSON.parse($("start").textContent).rates;
  const same = (r, s) => r[0] * s[1] === r[1] * s[0];
  for (const rate of wanted) if (!RATES.some((r) => same(r, rate))) RATES.push(rate);
  RATES.sort((r, s) => hertz(r) - hertz(s));
  sides.forEach(({ side }, i) => {
    $(`rate-${side}`).max = String(RATES.length - 1);
    $(`rate-${side}`).value = String(RATES.findIndex((r) => same(r, wanted[i])));
  });
}

function setUp() {
  setRates();
  for (const { side } of sides) {
    $(`scene-${side}`).addEventListener("click", () => play(!state.playing));
  }
  $("refresh").max = String(REFRESHES.length);
  $("refresh").value = "0";
  for (const id of ["rate-a", "rate-b", "refresh", "shutter", "speed", "slow"]) {
    $(id).addEventListener("input", prepare);
  }
  $("play").addEventListener("click", () => play(!state.playing));
  $("step").addEventListener("click", () => step(1));
  $("back").addEventListener("click", () => step(-1));
  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    if (["INPUT", "SELECT", "BUTTON", "SUMMARY"].includes(event.target.tagName) && event.key !== "Escape") {
      // A control under the focus keeps its own keys, but a button leaves the arrows to us.
      if (event.target.tagName !== "BUTTON" || event.key === " ") return;
    }
    if (event.key === " ") play(!state.playing);
    else if (event.key === "ArrowRight") step(1);
    else if (event.key === "ArrowLeft") step(-1);
    else if (event.key === "Escape") play(false);
    else return;
    event.preventDefault();
  });
  document.addEventListener("visibilitychange", () => document.hidden && play(false));
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  const follow = () => {
    $("motion-note").hidden = !calm.matches;
    $("play").classList.toggle("primary", !calm.matches);
    $("step").classList.toggle("primary", calm.matches);
    if (calm.matches) play(false);
  };
  calm.addEventListener("change", follow);
  follow();
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", prepare);
  let resized = 0;
  window.addEventListener("resize", () => {
    clearTimeout(resized);
    resized = setTimeout(prepare, 150);
  });
  prepare();
  measure();
}

setUp();
