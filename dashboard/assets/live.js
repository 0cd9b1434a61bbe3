/* What only the browser can do: ask whether the server still answers, keep the focus, follow the device's look. */
(function () {
  "use strict";

  const EVERY = 400; // milliseconds between two questions to the server
  const LOST_AFTER = 3000; // milliseconds without an answer after which nothing counts as current
  const GIVEN_UP_AFTER = 20000; // milliseconds after which a question counts as lost, and is asked anew
  const ASLEEP = 5000; // milliseconds in which this page did nothing at all, after which it knows nothing
  const STALE_AFTER = 8; // seconds after which a log that nobody looked at counts as not followed
  const root = document.documentElement;

  let answeredAt = Date.now();
  let answered = false;
  let waited = 0; // milliseconds without an answer in which one could have been heard
  let lookedAt = Date.now();
  let refused = false; // whether the last question failed
  let told = "";
  let words = "";

  function props(id, values) {
    if (window.dash_clientside && window.dash_clientside.set_props) window.dash_clientside.set_props(id, values);
  }

  function time(at) {
    return new Date(at).toLocaleTimeString("en-GB", { hour12: false });
  }

  /* the link to the server */

  function say(state, said) {
    root.dataset.link = state;
    words = said;
    repeat();
  }

  function repeat() {
    const place = document.getElementById("link-words");
    if (place && place.textContent !== words) place.textContent = words;
  }

  function sayAnswer(live) {
    if (live.problem) return say("stale", "Not up to date: " + live.problem);
    if (!live.follows) return say("live", "Not following: as read " + live.looked_at);
    if (live.looked > STALE_AFTER) return say("stale", "The log was last looked at " + live.looked_at);
    if (live.lost) return say("stale", live.lost + ". Still following it");
    return say("live", "Live");
  }

  /* Without an answer nobody can tell a server that is busy from one that is gone: only a refused call, or a very long
     silence, is no contact. Time in which this page itself was busy does not count: an answer may lie there unread. */

  function since() {
    return answered ? " since " + time(answeredAt) : "";
  }

  function sayLost() {
    say("lost", "No contact with the server" + since() + ". What is shown may be old.");
  }

  function lookAtTheClock() {
    const now = Date.now();
    const idle = now - lookedAt;
    waited += Math.min(idle, 2 * EVERY);
    lookedAt = now;
    if (root.dataset.link === "lost") return;
    if (waited > LOST_AFTER && refused) sayLost();
    else if (waited > LOST_AFTER) say("stale", "No answer from the server" + since() + ". What is shown may be old.");
    else if (idle > ASLEEP) say("stale", "Asking the server whether this is still so. What is shown may be old.");
  }

  async function ask() {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), GIVEN_UP_AFTER);
    const before = waited;
    try {
      const here = window.boothTouched && window.boothTouched() ? "/live?here" : "/live";
      const answer = await fetch(here, { signal: stop.signal, cache: "no-store" });
      if (answer.status === 401) {
        waited = 0;
        return say("stale", "Nobody is signed in here. What is shown may be old.");
      }
      if (!answer.ok) throw new Error(String(answer.status));
      const live = await answer.json();
      const took = waited - before;
      answeredAt = Date.now();
      answered = true;
      waited = 0;
      refused = false;
      if (took > LOST_AFTER)
        say("stale", "The server is slow to answer: " + Math.round(took / 1000) + " s. What is shown may be old.");
      else sayAnswer(live);
      const now = live.version + " " + live.minute;
      if (now !== told && document.getElementById("link-words")) {
        told = now;
        props("live", { data: { version: live.version, minute: live.minute } });
      }
    } catch (problem) {
      refused = true;
      if (waited > LOST_AFTER) sayLost();
    } finally {
      clearTimeout(timer);
    }
  }

  async function keepAsking() {
    await ask();
    setTimeout(keepAsking, document.hidden ? 4 * EVERY : EVERY);
  }

  /* the screen: its look, the width a chart has, the size of letters */

  const wantsDark = window.matchMedia("(prefers-color-scheme: dark)");
  const touched = window.matchMedia("(pointer: coarse)");
  let screenTold = "";

  function theme() {
    const chosen = root.dataset.look;
    return chosen === "dark" || chosen === "light" ? chosen : wantsDark.matches ? "dark" : "light";
  }

  function tellScreen() {
    const chart = document.getElementById("stream-chart");
    if (!chart || !chart.clientWidth) return;
    const scale = parseFloat(getComputedStyle(root).fontSize) / 16;
    const screen = { theme: theme(), width: Math.round(chart.clientWidth), scale: Math.round(scale * 100) / 100 };
    if (JSON.stringify(screen) === screenTold) return;
    screenTold = JSON.stringify(screen);
    props("screen", { data: screen });
  }

  function look(chosen) {
    root.dataset.look = chosen;
    document.querySelectorAll("#look [data-look]").forEach((button) => {
      const pressed = String(button.dataset.look === chosen);
      if (button.getAttribute("aria-pressed") !== pressed) button.setAttribute("aria-pressed", pressed);
    });
    tellScreen();
  }

  function choose(event) {
    const button = event.target.closest && event.target.closest("#look [data-look]");
    if (!button) return;
    try {
      localStorage.setItem("look", button.dataset.look);
    } catch (refused) { /* it is not remembered then */ }
    look(button.dataset.look);
  }

  function remembered() {
    try {
      return localStorage.getItem("look") || "auto";
    } catch (refused) {
      return "auto";
    }
  }

  let settling = 0;
  function settle() {
    clearTimeout(settling);
    settling = setTimeout(tellScreen, 120);
  }

  /* the focus: parts of the page are replaced as rows arrive, and who stood there must stay there */

  let focused = null;

  function mark(element) {
    const href = element.getAttribute && element.getAttribute("href");
    return { id: element.id, href: href, text: element.textContent, inside: element.closest("[id]") };
  }

  function like(inside, is) {
    return [...inside.querySelectorAll("a[href], button, summary, [tabindex]")].find(is);
  }

  function refocus() {
    if (!focused || document.activeElement !== document.body) return;
    const inside = (focused.inside && focused.inside.id && document.getElementById(focused.inside.id)) || document;
    const same = (focused.id && document.getElementById(focused.id)) ||
      like(inside, (one) => focused.href && one.getAttribute("href") === focused.href) ||
      like(inside, (one) => focused.text && one.textContent === focused.text);
    if (same) same.focus({ preventScroll: true });
  }

  function name() {
    const heading = document.querySelector("h1[data-title]");
    const site = document.querySelector(".site");
    if (!heading || !site) return;
    const words = heading.dataset.title + " \u00b7 " + site.textContent;
    if (document.title !== words) document.title = words;
  }

  function markWay() {
    document.querySelectorAll("#ways a").forEach((way) => {
      const own = way.getAttribute("href");
      const open = own === window.location.pathname || (own !== "/" && window.location.pathname.startsWith(own + "/"));
      if (open && way.getAttribute("aria-current") !== "page") way.setAttribute("aria-current", "page");
      else if (!open && way.hasAttribute("aria-current")) way.removeAttribute("aria-current");
    });
  }

  /* keys: to the stream before and after */

  function stepTo(event) {
    if (!event.shiftKey || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.target.closest && event.target.closest("input, select, textarea, [contenteditable]")) return;
    const which = { ArrowLeft: ".go-previous", ArrowRight: ".go-next" }[event.key];
    const way = which && document.querySelector(which);
    if (!way) return;
    event.preventDefault();
    way.click();
  }

  function start() {
    let page = null;
    let looked = false;
    root.dataset.look = remembered();
    const sizes = new ResizeObserver(settle);
    new MutationObserver(() => {
      refocus();
      name();
      repeat();
      markWay();
      if (!looked && document.getElementById("look")) {
        looked = true;
        look(remembered());
      }
      const chart = document.getElementById("stream-chart");
      if (chart !== page) {
        sizes.disconnect();
        page = chart;
        if (chart) sizes.observe(chart);
      }
    }).observe(document.body, { childList: true, subtree: true });
    document.addEventListener("focusin", (event) => { focused = mark(event.target); });
    document.addEventListener("pointerdown", () => { focused = null; });
    document.addEventListener("click", choose);
    document.addEventListener("keydown", stepTo);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
    wantsDark.addEventListener("change", tellScreen);
    setInterval(lookAtTheClock, EVERY);
    keepAsking();
  }

  /* asked by callbacks */

  const same = () => window.dash_clientside.no_update;

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    booth: {
      /* A chart that was asked for another stretch than the one now in the address keeps what the person zoomed to. */
      draw(figure) {
        if (!figure) return same();
        const asked = (figure.layout.meta || {}).search;
        const graph = document.querySelector("#stream-figure .js-plotly-plot");
        if (graph && graph.layout && asked && asked !== window.location.search && graph.layout.meta &&
            graph.layout.meta.stream === figure.layout.meta.stream)
          figure.layout.xaxis.range = graph.layout.xaxis.range.slice();
        figure.layout.dragmode = touched.matches ? false : "zoom";
        return figure;
      },
      /* A zoom is written into the address, without a step in the browser's history. */
      zoomed(change) {
        if (!change || change["xaxis.range[0]"] === undefined) return same();
        const address = new URLSearchParams(window.location.search);
        ["show", "from", "to", "row"].forEach((name) => address.delete(name));
        address.set("from", String(change["xaxis.range[0]"]).slice(0, 16).replace(" ", "T"));
        address.set("to", String(change["xaxis.range[1]"]).slice(0, 16).replace(" ", "T"));
        const search = "?" + address.toString();
        if (search === window.location.search || address.get("from") === address.get("to")) return same();
        window.history.replaceState(window.history.state, "", window.location.pathname + search);
        return search;
      },
    },
  });

  start();
})();
