// What was measured goes to the server, which makes the reading of it; here it is shown.

import { drawChart } from "./chart.js";

const LABEL = "evenhold-label";
const byId = (id) => document.getElementById(id);

/** Observation in the form that the server takes. */
export function observation({ clip, refresh, callbacks, skipped, counters, shown }) {
  return {
    schema: "evenhold/observation 1",
    clip,
    refresh,
    callbacks,
    skipped,
    counters,
    shown,
    device: {
      label: byId("label").value.trim().slice(0, 60),
      agent: navigator.userAgent.slice(0, 512),
      screen: [Math.round(screen.width), Math.round(screen.height)],
      viewport: [Math.round(innerWidth), Math.round(innerHeight)],
      pixel_ratio: window.devicePixelRatio || 1,
      secure: Boolean(window.isSecureContext),
    },
  };
}

async function post(path, data) {
  let answer;
  try {
    answer = await fetch(path, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(data),
    });
  } catch {
    throw new Error("The laptop does not answer: is the server still running?");
  }
  const found = await answer.json().catch(() => ({ error: `answer ${answer.status}` }));
  if (!answer.ok) throw new Error(found.error);
  return found;
}

function fact(list, name, value) {
  const term = document.createElement("dt");
  const text = document.createElement("dd");
  term.textContent = name;
  text.textContent = value;
  list.append(term, text);
}

const milliseconds = (value) => (value === null ? "not known" : `${value.toFixed(2)} ms`);

function facts(reading) {
  const list = byId("facts");
  list.replaceChildren();
  const expected = reading.expected?.pattern;
  const counters = reading.details.drop_counters;
  fact(list, "Played", reading.file);
  const measured = `${reading.details.measured_refresh.hz.toFixed(2)} Hz measured`;
  fact(list, "Refresh", reading.refresh_hz === null ? "not known to this browser" : measured);
  fact(list, "Pattern found", reading.pattern ? reading.pattern.join(":") : "none");
  fact(list, "By arithmetic", expected ? expected.join(":") : "no short pattern");
  fact(list, "Holds observed", `${reading.holds.length} of ${reading.pictures} frames`);
  fact(list, "Dropped, by times", String(counters.by_media_time));
  fact(list, "Dropped, by the browser", counters.by_browser === null ? "not reported" : String(counters.by_browser));
  fact(list, "Timing error, RMS", milliseconds(reading.timing_error_rms_ms));
  fact(list, "Timing error, span", milliseconds(reading.timing_error_span_ms));
}

function warnings(reading) {
  // the first one, what a page can see at all, stands in the page already
  const items = [...reading.explanation, ...reading.warnings.slice(1)].map((text) => {
    const item = document.createElement("li");
    item.textContent = text;
    return item;
  });
  byId("warnings").replaceChildren(...items);
}

function remembered() {
  try {
    return localStorage.getItem(LABEL) ?? "";
  } catch {
    return "";
  }
}

function remember(label) {
  try {
    localStorage.setItem(LABEL, label);
  } catch {
    // then it is typed again
  }
}

function chart(reading) {
  const canvas = byId("summary-chart");
  canvas.hidden = reading.holds.length === 0;
  if (canvas.hidden) return;
  const dropped = new Set(reading.dropped);
  const first = reading.holds.slice(-40);
  const due = reading.expected?.pattern ?? reading.pattern ?? first.map((hold) => hold.refreshes);
  const holds = first.map((hold) => ({ ...hold, dropped: dropped.has(hold.number + 1) ? 1 : 0 }));
  drawChart(canvas, holds, due);
}

/** Show the reading that the server makes of `make()`; offer to keep it there. */
export async function showSummary(make) {
  const section = byId("summary");
  section.hidden = false;
  byId("sent").textContent = "";
  byId("send").disabled = true;
  byId("verdict").textContent = "Working it out …";
  byId("facts").replaceChildren();
  byId("warnings").replaceChildren();
  byId("summary-chart").hidden = true;
  section.focus();
  section.scrollIntoView();
  try {
    const { reading } = await post("summary", make());
    byId("verdict").textContent = reading.verdict;
    chart(reading);
    facts(reading);
    warnings(reading);
    byId("send").disabled = false;
    byId("send").onclick = () => send(make);
  } catch (error) {
    byId("verdict").textContent = error.message;
  }
}

async function send(make) {
  byId("send").disabled = true;
  remember(byId("label").value);
  try {
    const { file } = await post("readings", make());
    byId("sent").textContent = `Kept on the laptop as ${file}.`;
  } catch (error) {
    byId("sent").textContent = error.message;
    byId("send").disabled = false;
  }
}

byId("label").value = remembered();
