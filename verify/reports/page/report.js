"use strict";
(function () {
  const runs = JSON.parse(document.getElementById("runs-data").textContent);
  if (!runs.length) return;
  document.documentElement.classList.add("live");
  const parts = [...document.querySelectorAll(".run")];
  const choice = document.getElementById("which-run");
  const slider = document.getElementById("moment");
  const now = document.getElementById("now");
  let shown = 0;

  // What a signal shows in a tick: the last change up to then, as its kind says.
  function value(signal, tick) {
    let last = null;
    for (const change of signal.changes) {
      if (change[0] > tick) break;
      last = change;
    }
    if (last === null) return "";
    if (signal.kind === "moment") return last[0] === tick ? last[1] : "";
    if (signal.kind === "timer") {
      const left = last[1] - (tick - last[0]);
      return left > 0 ? left + " left" : "";
    }
    return last[1];
  }

  function at(k) {
    const run = runs[shown];
    const tick = run.ticks[k];
    const fails = run.fails === k ? ", where it fails: " + run.kind : "";
    const words = "tick " + tick + " (" + run.times[k] + ")" + fails;
    now.textContent = words;
    slider.setAttribute("aria-valuetext", words);
    const rows = parts[shown].querySelectorAll(".values tbody tr");
    run.signals.forEach(function (signal, i) {
      rows[i].lastElementChild.textContent = value(signal, tick) || "\u2013";
      rows[i].classList.toggle("new", signal.changes.some((change) => change[0] === tick));
    });
    let column = null;
    for (const rect of parts[shown].querySelectorAll(".fw .tick")) {
      const first = Number(rect.dataset.tick);
      const here = first <= tick && tick < first + Number(rect.dataset.ticks || 1);
      rect.classList.toggle("here", here);
      if (here) column = rect;
    }
    const frame = parts[shown].querySelector(".picture");
    if (column && frame.scrollWidth > frame.clientWidth) {
      const x = Number(column.getAttribute("x"));
      if (x < frame.scrollLeft + 200 || x > frame.scrollLeft + frame.clientWidth - 60) {
        frame.scrollLeft = x - frame.clientWidth / 2;
      }
    }
  }

  function show(number, k) {
    shown = number;
    parts.forEach((part, i) => part.classList.toggle("away", i !== number));
    choice.value = String(number);
    const run = runs[number];
    slider.max = String(run.ticks.length - 1);
    slider.value = String(k === undefined ? (run.fails === null ? 0 : run.fails) : k);
    at(Number(slider.value));
  }

  // From failure to failure through all runs, round and round.
  function failure(step) {
    const places = runs.map((run, i) => [i, run.fails]).filter((place) => place[1] !== null);
    if (!places.length) return;
    const here = Number(slider.value);
    const before = (place) => place[0] < shown || (place[0] === shown && place[1] < here);
    const after = (place) => place[0] > shown || (place[0] === shown && place[1] > here);
    const next = step > 0
      ? places.find(after) || places[0]
      : places.filter(before).pop() || places[places.length - 1];
    show(next[0], next[1]);
  }

  slider.addEventListener("input", () => at(Number(slider.value)));
  choice.addEventListener("change", () => show(Number(choice.value)));
  document.getElementById("previous").addEventListener("click", () => failure(-1));
  document.getElementById("next").addEventListener("click", () => failure(1));
  document.querySelectorAll("[data-run]").forEach(function (link) {
    link.addEventListener("click", () => show(Number(link.dataset.run)));
  });
  parts.forEach(function (part, number) {
    part.querySelector(".picture").addEventListener("click", function (event) {
      const rect = event.target.closest(".tick");
      if (!rect) return;
      const first = Number(rect.dataset.tick);
      const k = runs[number].ticks.findIndex((tick) => tick >= first);
      show(number, k < 0 ? runs[number].ticks.length - 1 : k);
      slider.focus();
    });
  });
  show(0);
})();
