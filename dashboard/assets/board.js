/* The board on a wide screen: what does not fit below "To do now" is told shorter, and what is still below the edge is
   counted there, so that nothing that needs doing is out of sight without a word. */
(function () {
  "use strict";

  const BESIDE = window.matchMedia("(min-width: 68.01rem)"); // what needs doing stands beside the streams
  const WALL = window.matchMedia("(min-width: 90rem) and (min-height: 60rem)"); // nobody scrolls here
  const SHOWN_AFTER = 100; // milliseconds
  const root = document.documentElement;
  let asked = 0;
  let told = "";

  function say(words) {
    const place = document.getElementById("board-below");
    if (!place || (words === told && place.textContent === words)) return;
    told = words;
    if (words && place.hidden) setTimeout(ask, SHOWN_AFTER); // it covers what it was not counted for
    window.dash_clientside.set_props("board-below", { children: words, hidden: !words });
  }

  function below(items, edge) {
    const hidden = items.filter((item) => item.querySelector("h3").getBoundingClientRect().bottom > edge);
    if (!hidden.length) return "";
    const states = new Map();
    hidden.forEach((item) => {
      const word = item.querySelector(".state-word").textContent;
      states.set(word, (states.get(word) || 0) + 1);
    });
    const counted = Array.from(states, ([word, n]) => n + " " + word).join(", ");
    return "and " + hidden.length + " more below: " + counted;
  }

  function look() {
    asked = 0;
    const list = document.querySelector("#board .todos");
    if (!list || !BESIDE.matches) {
      delete root.dataset.todos;
      return say("");
    }
    const items = Array.from(list.children);
    const top = window.scrollY;
    const fits = () => list.getBoundingClientRect().bottom + top <= window.innerHeight;
    delete root.dataset.todos;
    if (WALL.matches && !fits()) root.dataset.todos = "many";
    const note = document.getElementById("board-below");
    say(below(items, window.innerHeight - (note ? note.offsetHeight : 0)));
  }

  function ask() {
    if (!asked) asked = window.requestAnimationFrame(look);
  }

  function watch() {
    new MutationObserver((changes) => {
      if (changes.some((change) => !(change.target.closest && change.target.closest("#board-below")))) ask();
    }).observe(document.body, { childList: true, subtree: true });
    window.addEventListener("resize", ask);
    window.addEventListener("scroll", ask, { passive: true });
    ask();
  }

  document.body ? watch() : document.addEventListener("DOMContentLoaded", watch);
})();
