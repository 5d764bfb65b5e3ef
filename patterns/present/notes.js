// Opened from the slides, this page follows them.
window.addEventListener("message", (event) => {
  if (event.source !== window.opener) return;
  document.querySelectorAll("ol.items > li").forEach((entry, i) => {
    const now = i === event.data.slide - 1;
    entry.classList.toggle("now", now);
    if (now) entry.scrollIntoView({ block: "center" });
  });
  if (!event.data.slide) window.scrollTo(0, 0);
});
window.opener?.postMessage("ready", "*");
