/* What was written down and has not arrived yet: kept on this tablet, sent in order, each once.

   Every entry has a name of its own, made here; the server keeps a name once, so that sending again does no harm. It
   leaves this tablet only when the server has said that it is kept. */
(function () {
  "use strict";

  const KEY = "written-down";
  const AGAIN = 2500; // milliseconds between two tries while the server is away
  const GIVE_UP = 8000; // milliseconds without an answer after which the server counts as away

  const hears = [];
  let memory = []; // where the browser keeps nothing
  let keeps = true;
  let problem = ""; // "", "away", or why the server does not take them
  let busy = null;
  let timer = 0;

  function all() {
    if (!keeps) return memory;
    try {
      return JSON.parse(localStorage.getItem(KEY) || "[]");
    } catch (broken) {
      return memory;
    }
  }

  function store(list) {
    memory = list;
    try {
      localStorage.setItem(KEY, JSON.stringify(list));
    } catch (refused) {
      keeps = false; // they stay as long as this page is open, which the page says
    }
    tell({ what: "changed" });
  }

  function change(entry, values) {
    store(all().map((item) => (item.body.entry === entry ? Object.assign({}, item, values) : item)));
  }

  function drop(entry) {
    store(all().filter((item) => item.body.entry !== entry));
  }

  function tell(news) {
    hears.forEach((hear) => hear(news));
  }

  function name() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  /* `about` stays here: which card it is of, and what people call it. */
  function add(body, about) {
    const item = { body: Object.assign({ entry: name() }, body), about: about, typed: Date.now(), state: "waiting" };
    store(all().concat([item]));
    return item.body.entry;
  }

  async function post(path, body) {
    const stop = new AbortController();
    const late = setTimeout(() => stop.abort(), GIVE_UP);
    try {
      const answer = await fetch(path, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(body),
        signal: stop.signal,
        cache: "no-store",
      });
      if (answer.status >= 500) throw new Error(String(answer.status));
      const isJson = (answer.headers.get("Content-Type") || "").includes("json");
      return { status: answer.status, body: isJson ? await answer.json() : {} };
    } finally {
      clearTimeout(late);
    }
  }

  async function sendOne(item) {
    const age = Math.max(0, Math.round((Date.now() - item.typed) / 1000));
    const answer = await post("/write/keep", Object.assign({}, item.body, { age: age }));
    const said = answer.body;
    if (answer.status === 200 && said.state === "kept") {
      drop(item.body.entry);
      tell({ what: "kept", item: item, reading: said.reading });
    } else if (answer.status === 200 && said.state === "asks") {
      change(item.body.entry, { state: "asks", asks: said.asks });
      tell({ what: "asks", item: item, asks: said.asks });
    } else if (answer.status === 422 || answer.status === 413) {
      change(item.body.entry, { state: "refused", says: said.says });
      tell({ what: "refused", item: item, says: said.says });
    } else {
      return said.says || "Sign in again: what was written down waits here until then.";
    }
    return "";
  }

  function waiting() {
    return all().filter((item) => item.state === "waiting");
  }

  async function run() {
    for (let item = waiting()[0]; item; item = waiting()[0]) {
      try {
        problem = await sendOne(item);
      } catch (away) {
        problem = "away";
      }
      if (problem) break;
    }
    clearTimeout(timer);
    if (waiting().length) timer = setTimeout(flush, AGAIN);
    tell({ what: "changed" });
  }

  function flush() {
    if (!busy) busy = run().finally(() => { busy = null; });
    return busy;
  }

  window.writtenDown = {
    add: add,
    all: all,
    change: change,
    drop: drop,
    flush: flush,
    hear: (listener) => hears.push(listener),
    post: post,
    problem: () => problem,
    keeps: () => keeps,
  };

  window.addEventListener("online", flush);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  flush(); // what waited when the page was left, whichever page is open now
})();
