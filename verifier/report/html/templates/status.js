"use strict";
(() => {
  const age = document.getElementById("age");
  const said = age.querySelector("strong");
  const at = Number(age.dataset.at);
  const stale = Number(age.dataset.stale);
  const words = (s) => {
    const [n, unit] = s < 120 ? [Math.floor(s), "second"]
      : s < 7200 ? [Math.floor(s / 60), "minute"]
        : s < 172800 ? [Math.floor(s / 3600), "hour"] : [Math.floor(s / 86400), "day"];
    return `${n} ${unit}${n === 1 ? "" : "s"}`;
  };
  function tick() {
    const s = Date.now() / 1000 - at;
    const old = s > stale;
    const text = s < -60
      ? "By the clock of this machine that is yet to come: one of the two clocks is wrong."
      : `This page is ${words(Math.max(0, s))} old${old ? ": no newer sweep has come. What follows is how it was then." : "."}`;
    if (said.textContent !== text) said.textContent = text; // who listens hears it once
    age.classList.toggle("old", old || s < -60);
    if (old && !age.hasAttribute("role")) age.setAttribute("role", "alert");
  }
  tick();
  setInterval(tick, 1000);

  // The page is loaded anew again and again: what was unfolded stays so, and where one was reading.
  const kept = [...document.querySelectorAll("details[data-keep]")];
  const key = `status ${location.pathname}`;
  function load() {
    try { return JSON.parse(sessionStorage.getItem(key)) ?? {}; } catch { return {}; }
  }
  function save() {
    const turned = {};
    for (const d of kept) if (String(d.open) !== d.dataset.was) turned[d.dataset.keep] = d.open;
    try { sessionStorage.setItem(key, JSON.stringify({ turned, y: scrollY })); } catch { /* private */ }
  }
  const before = load();
  for (const d of kept) {
    d.dataset.was = d.open;
    if (before.turned && d.dataset.keep in before.turned) d.open = before.turned[d.dataset.keep];
  }
  if (before.y && !location.hash) scrollTo(0, before.y);
  addEventListener("pagehide", save);

  // Who reads may hold the page still; it then says how old it is.
  if (document.querySelector("meta[http-equiv=refresh]")) {
    const hold = document.createElement("button");
    hold.type = "button";
    hold.textContent = "Hold this page still";
    hold.addEventListener("click", () => {
      if (hold.getAttribute("aria-pressed") === "true") { location.reload(); return; }
      stop();
      hold.setAttribute("aria-pressed", "true");
      hold.textContent = "Held still: go on";
    });
    age.append(" ", hold);
  }
})();
