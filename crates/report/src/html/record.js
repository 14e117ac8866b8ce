"use strict";
for (const figure of document.querySelectorAll("figure.zoom")) {
  const svg = figure.querySelector("svg"), box = figure.querySelector(".plot");
  const tools = figure.querySelector(".tools"), readout = figure.querySelector(".readout");
  let times = 1;
  // Enlarged alike each way, so that words and marks keep their shape; the box scrolls.
  const zoom = (by, x = box.clientWidth / 2, y = box.clientHeight / 2) => {
    const before = times;
    times = Math.min(16, Math.max(1, times * by));
    const [left, top] = [box.scrollLeft + x, box.scrollTop + y].map((place) => place * times / before);
    svg.style.width = times > 1 ? `${100 * times}%` : "";
    figure.classList.toggle("near", times > 1);
    // What scrolls must be reached with the keyboard.
    if (times > 1) box.tabIndex = 0; else box.removeAttribute("tabindex");
    box.scrollTo(left - x, top - y);
  };
  const move = (by) => box.scrollBy(by * box.clientWidth / 2, 0);
  const actions = {
    in: () => zoom(2), out: () => zoom(0.5), left: () => move(-1), right: () => move(1), whole: () => zoom(0),
  };
  tools.addEventListener("click", (event) => actions[event.target.dataset.zoom]?.());
  // Plain scrolling stays with the page: the wheel enlarges only with Ctrl, as it does elsewhere.
  box.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    const around = box.getBoundingClientRect();
    zoom(event.deltaY > 0 ? 0.8 : 1.25, event.clientX - around.left, event.clientY - around.top);
  }, { passive: false });
  let from = null;
  svg.addEventListener("pointerdown", (event) => { from = event; });
  addEventListener("pointerup", () => { from = null; });
  svg.addEventListener("pointermove", (event) => {
    if (from !== null && times > 1) {
      box.scrollBy(from.clientX - event.clientX, from.clientY - event.clientY);
      from = event;
    }
    const spot = event.target.closest(".spot");
    if (spot) readout.textContent = spot.querySelector("title").textContent;
  });
  tools.hidden = readout.hidden = false;
}
