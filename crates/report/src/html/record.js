"use strict";
for (const figure of document.querySelectorAll("figure.zoom")) {
  const svg = figure.querySelector("svg"), tools = figure.querySelector(".tools"), readout = figure.querySelector(".readout");
  const whole = svg.getAttribute("viewBox").split(" ").map(Number);
  let [left, , width] = whole;
  const show = () => {
    width = Math.min(whole[2], Math.max(whole[2] / 40, width));
    left = Math.min(whole[0] + whole[2] - width, Math.max(whole[0], left));
    svg.setAttribute("viewBox", `${left} ${whole[1]} ${width} ${whole[3]}`);
    // Enlarged in time only: levels and panels keep their height.
    svg.setAttribute("preserveAspectRatio", width < whole[2] ? "none" : "xMidYMid meet");
    figure.classList.toggle("near", width < whole[2]);
  };
  const zoom = (by, at) => {
    left += (width - width * by) * at;
    width *= by;
    show();
  };
  const actions = {
    in: () => zoom(0.5, 0.5), out: () => zoom(2, 0.5), left: () => { left -= width / 4; show(); },
    right: () => { left += width / 4; show(); }, whole: () => { [left, , width] = whole; show(); },
  };
  tools.addEventListener("click", (event) => actions[event.target.dataset.zoom]?.());
  const part = (event) => {
    const box = svg.getBoundingClientRect();
    return (event.clientX - box.left) / box.width;
  };
  // Plain scrolling stays with the page: the wheel enlarges only with Ctrl, as it does elsewhere.
  svg.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    zoom(event.deltaY > 0 ? 1.25 : 0.8, part(event));
  }, { passive: false });
  let from = null;
  svg.addEventListener("pointerdown", (event) => { from = part(event); });
  addEventListener("pointerup", () => { from = null; });
  svg.addEventListener("pointermove", (event) => {
    if (from !== null && width < whole[2]) {
      const to = part(event);
      left += (from - to) * width;
      from = to;
      show();
    }
    const spot = event.target.closest(".spot");
    if (spot) readout.textContent = spot.querySelector("title").textContent;
  });
  tools.hidden = readout.hidden = false;
}
