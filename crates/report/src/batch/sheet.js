"use strict";
(() => {
  const tools = document.querySelector(".tools"), main = document.getElementById("cards");
  const cards = [...main.children].map((card, place) => ({
    card, place, name: card.querySelector("h2").textContent, word: card.dataset.word,
    speed: parseFloat(card.dataset.speed), share: parseFloat(card.dataset.share),
    text: card.textContent.toLowerCase(),
  }));
  const number = (a, b) => (isNaN(a) ? Infinity : a) - (isNaN(b) ? Infinity : b) || 0;
  const orders = {
    place: (a, b) => a.place - b.place,
    name: (a, b) => a.name.localeCompare(b.name, undefined, { numeric: true }),
    speed: (a, b) => number(a.speed, b.speed) || a.place - b.place,
    share: (a, b) => number(a.share, b.share) || a.place - b.place,
  };
  const filter = () => {
    const words = new Set([...tools.elements.word.length ? tools.elements.word : [tools.elements.word]]
      .filter((box) => box.checked).map((box) => box.value));
    const find = tools.elements.find.value.trim().toLowerCase();
    let shown = 0;
    for (const each of cards) {
      const visible = words.has(each.word) && each.text.includes(find);
      each.card.hidden = !visible;
      shown += visible;
    }
    tools.elements.shown.value = `${shown} of ${cards.length} shown`;
  };
  tools.elements.order.addEventListener("change", () => {
    cards.sort(orders[tools.elements.order.value]);
    main.append(...cards.map((each) => each.card));
  });
  tools.addEventListener("input", filter);
  tools.addEventListener("submit", (event) => event.preventDefault());
  tools.hidden = false;
  filter();
})();
