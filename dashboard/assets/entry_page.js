/* Writing checks down: what is due is open, the next one follows, and what was said of the last one stands above. */
(function () {
  "use strict";

  const REFRESH = 30000; // milliseconds between two looks at what is due
  const GROUPS = [
    ["overdue", "Overdue"],
    ["due now", "Due now"],
    ["this shift", "Due this shift"],
    ["later", "Later"],
    ["resting", "Line not in operation"],
  ];
  const VERDICTS = {
    pass: "Passes", fail: "Fails", inside: "Inside, limits not confirmed", outside: "Outside, limits not confirmed",
    undecided: "Not judged", "no limit": "Kept", "not run": "Not in operation", waiting: "Kept here, not judged yet",
  };
  const queue = window.writtenDown;
  const { make, button, choice, put, deviation, refusal, doubt } = window.putIn;

  let root = null;
  let page = null; // what the server told last
  let open = ""; // id of the card that is open
  let draft = {};
  let asks = []; // questions about what is in the draft
  let last = null; // what was said of the last reading
  let hold = false; // whether the last one has to be looked at before the next is offered
  let done = {}; // cards kept since the server last told what is due
  let note = "";
  let sent = ""; // entry whose answer is waited for
  let timer = 0;
  let rows = ""; // how many rows the board counted when the server was last asked

  function remembered(name) {
    try { return localStorage.getItem("write-" + name) || ""; } catch (refused) { return ""; }
  }

  function remember(name, value) {
    try { localStorage.setItem("write-" + name, value); } catch (refused) { /* asked again next time */ }
  }

  function technician() {
    return page.person || remembered("technician");
  }

  function say(words) {
    const place = document.getElementById("write-said");
    if (place) place.textContent = words;
  }

  function cards() {
    return page ? page.cards.filter((card) => !done[card.id]) : [];
  }

  function current() {
    return page && (page.cards.concat(page.own || []).find((card) => card.id === open) || null);
  }

  function urgent() {
    return cards().filter((card) => ["overdue", "due now", "this shift"].includes(card.when));
  }

  function start(id) {
    open = id || "";
    const card = current();
    asks = [];
    draft = { target: "value" };
    if (!card) return;
    draft.unit = card.unit_code;
    draft.instrument = card.instruments.length ? card.instruments[0].name : "";
    draft.reference = card.references.length ? window.putIn.say(card.references[0]) : "";
    draft.shift = remembered("shift");
  }

  function next() {
    window.scrollTo(0, 0);
    const due = urgent();
    start(due.length ? due[0].id : "");
  }

  /* what the server knows */

  async function refresh() {
    clearTimeout(timer);
    if (!root || !root.isConnected) return;
    rows = counted();
    timer = setTimeout(refresh, REFRESH);
    try {
      const answer = await fetch("/write/cards", { cache: "no-store" });
      if (!answer.ok) throw new Error(String(answer.status));
      const told = await answer.json();
      const first = !page;
      if (page) told.own = page.own;
      page = told;
      window.putIn.writes(page.decimal);
      const anew = askAnew();
      const kept = queue.all().map((item) => item.about.stream);
      done = {};
      page.cards.forEach((card) => { if (kept.includes(card.id)) done[card.id] = true; });
      if (first) begin();
      draw(!first && !anew);
    } catch (away) {
      if (!page) root.replaceChildren(make("p", { class: "entry-loading" }, "No contact with the server; trying again."));
      clearTimeout(timer);
      timer = setTimeout(refresh, page ? REFRESH : 3000);
    }
  }

  /* A number that was typed beside one unit is never sent with another: the site may change its units meanwhile. */
  function askAnew() {
    const card = current();
    if (!card || card.unit_code === draft.unit) return false;
    const typed = draft.value;
    draft.unit = card.unit_code;
    if (!typed || card.kind === "judged") return true;
    asks = [];
    draft.value = "";
    if (card.deviation) draft.reference = "";
    note = "This site shows " + (card.unit || "no unit") + " now. \u201c" + typed + "\u201d was typed before that: put in again what was read.";
    say(note);
    return true;
  }

  function begin() {
    const asked = page.cards.find((card) => window.location.search === card.id);
    if (asked) start(asked.id);
    else next();
  }

  /* keeping */

  function body(card, values) {
    const all = {
      line: card.line, check: card.check, position: card.position, technician: technician(),
      value: draft.value || "", instrument: draft.instrument || "", note: draft.note || "", shift: draft.shift || "",
      taken: draft.taken || "", unit: card.unit_code || "",
    };
    if (card.asks_reference && draft.reference) all.reference = draft.reference;
    return Object.assign(all, values);
  }

  function keepNow(values, sure) {
    const card = current();
    if (!technician()) {
      note = "Write your name first, above: it is remembered on this tablet.";
      draw();
      const field = document.getElementById("entry-technician");
      if (field) field.focus();
      return;
    }
    const stops = values && values.value ? "" : refusal(card, draft);
    if (stops) {
      note = stops;
      draw();
      return;
    }
    const away = document.documentElement.dataset.link === "lost" || queue.problem() === "away";
    const far = away && !sure && !(values && values.value) ? doubt(card, draft) : "";
    if (far) {
      asks = [{ kind: "far", says: far }];
      draw();
      return;
    }
    const kinds = sure || [];
    const entry = queue.add(body(card, Object.assign({ sure: kinds }, values)), { stream: card.id, title: name(card) });
    sent = entry;
    note = "";
    queue.flush();
    const late = away ? 0 : 2500;
    setTimeout(() => { if (sent === entry) waits(card, entry); }, late); // the next check does not wait for the server
  }

  function waits(card, entry) {
    const item = queue.all().find((one) => one.body.entry === entry);
    if (!item || item.state !== "waiting") return;
    sent = "";
    done[card.id] = true;
    last = { word: "waiting", title: name(card), value: shown(item.body, card), verdict: "It arrives by itself when the server answers.", entry: entry };
    hold = false;
    next();
    draw();
    say(VERDICTS.waiting);
  }

  function shown(said, card) {
    if (said.value === "not run") return "not in operation";
    return said.value + (card.kind === "measured" && card.unit ? " " + card.unit : "");
  }

  function name(card) {
    return [card.line, card.title + (card.position ? ", " + card.position : "")].join(" \u00b7 ");
  }

  queue.hear((news) => {
    if (!root || !root.isConnected) return;
    const waited = last && last.word === "waiting" && news.item && last.entry === news.item.body.entry;
    if (waited && (news.what === "asks" || news.what === "refused")) last = null; // it did not arrive: the question stands alone
    if (news.what === "kept") {
      done[news.item.about.stream] = true;
      const own = sent === news.item.body.entry;
      if (own || (last && last.entry === news.reading.entry)) {
        const moved = last && last.entry === news.reading.entry; // it waited, and the next one is open already
        sent = "";
        last = Object.assign({ body: news.item.body }, news.reading);
        const asksReaction = last.signal && !last.signal.reacted;
        hold = !moved && (["fail", "outside"].includes(last.word) || Boolean(asksReaction));
        if (!moved && !hold) next();
        else if (hold) start("");
        say(VERDICTS[last.word] + ". " + last.title + ": " + last.value + ". " + last.margin);
      }
      refresh();
    } else if (news.what === "asks" && sent === news.item.body.entry) {
      sent = "";
      queue.drop(news.item.body.entry);
      asks = news.asks;
      say(asks.map((one) => one.says).join(" "));
    } else if (news.what === "refused" && sent === news.item.body.entry) {
      sent = "";
      queue.drop(news.item.body.entry);
      note = "Not kept. " + news.says;
      say(note);
    }
    draw(news.what === "changed");
  });

  /* what is shown */

  function draw(quietly) {
    if (!root || !page) return;
    if (page.why_not) {
      root.replaceChildren(make("p", { class: "nothing entry-loading" }, page.why_not));
      return;
    }
    if (root.dataset.may === "no") {
      root.replaceChildren(make("p", { class: "nothing entry-loading" },
        "You may look, not write (" + root.dataset.role + "). Line leads and engineers write checks down; ask for that role, or switch person."));
      return;
    }
    const active = document.activeElement;
    const typing = quietly && active && root.contains(active) && /^(INPUT|TEXTAREA|SELECT)$/.test(active.tagName);
    if (typing && active.id !== "entry-value" && active.id !== "entry-reference") {
      drawQueue();
      return; // nothing is taken from under somebody's fingers
    }
    const focused = active && root.contains(active) ? active.id || active.textContent : "";
    const folded = root.querySelector(".entry-more");
    const unfolded = folded && folded.open;
    const groups = Array.from(root.querySelectorAll(".entry-group[open]"), (one) => one.dataset.group);
    root.classList.toggle("entry-open", Boolean(current()));
    root.replaceChildren(
      make("div", { class: "entry-strip" }, who(), make("div", { id: "entry-queue", role: "status" })),
      ...(last ? [window.lastSaid(tools())] : []),
      ...(hold ? [] : [current() ? card(current()) : nothingOpen()]),
      window.allChecks(tools())
    );
    drawQueue();
    const more = root.querySelector(".entry-more");
    if (more && unfolded) more.open = true;
    groups.forEach((one) => { const group = root.querySelector("[data-group='" + one + "']"); if (group) group.open = true; });
    if (focused) {
      const again = Array.from(root.querySelectorAll("button, input, select, textarea, summary, a"))
        .find((one) => one.id === focused || (!one.id && one.textContent === focused));
      if (again) again.focus({ preventScroll: true });
    }
  }

  function who() {
    if (page.person) return make("p", {}, "Written down as ", make("strong", {}, page.person));
    const people = make("datalist", { id: "entry-people" }, page.people.map((one) => make("option", { value: one })));
    const field = make("input", {
      id: "entry-technician", type: "text", list: "entry-people", autocomplete: "off", maxlength: "80",
      change: (event) => remember("technician", event.target.value.trim()),
      input: (event) => remember("technician", event.target.value.trim()),
    });
    field.value = remembered("technician");
    return make("div", { class: "entry-who" }, make("label", { for: "entry-technician" }, "Your name"), field, people);
  }

  function drawQueue() {
    window.whatWaits(document.getElementById("entry-queue"), sent);
  }

  function when(card) {
    return make("span", { class: "entry-when entry-when-" + card.when.replace(" ", "-") }, card.due || "no interval is set for this check");
  }

  function card(one) {
    const region = make("div", { class: "entry-put" });
    const keep = button("Keep", () => keepNow(), "entry-keep", { id: "entry-keep" });
    function changed() {
      const percent = document.getElementById("entry-deviation");
      if (percent) percent.textContent = deviation(one, draft);
      if (asks.length) {
        asks = [];
        const asked = root.querySelector(".entry-asks");
        if (asked) asked.remove();
        keep.hidden = false;
      }
      if (note) {
        note = "";
        const words = root.querySelector(".entry-note");
        if (words) words.remove();
      }
    }
    function redraw() {
      const before = document.activeElement && region.contains(document.activeElement) ? document.activeElement : null;
      const label = before && (before.getAttribute("aria-label") || before.textContent);
      region.replaceChildren(...put(one, draft, changed, redraw));
      const again = label && Array.from(region.querySelectorAll("button")).find((two) => (two.getAttribute("aria-label") || two.textContent) === label);
      if (again) again.focus({ preventScroll: true });
    }
    redraw();
    return make(
      "section",
      { class: "entry-card", "aria-label": name(one), keydown: (event) => {
        if (event.key === "Enter" && event.target.tagName === "INPUT" && region.contains(event.target)) keepNow();
      } },
      make("p", { class: "entry-place" }, one.line, one.position ? " \u00b7 " + one.position : ""),
      make("h2", {}, one.title),
      make("p", { class: "entry-due" }, when(one), one.last_age ? " \u00b7 last done " + one.last_age : ""),
      one.moves ? make("p", { class: "entry-moves" }, one.moves) : "",
      region,
      asks.length ? questions() : "",
      note ? make("p", { class: "entry-note", role: "alert" }, note) : "",
      make(
        "div",
        { class: "entry-do" },
        (() => { keep.hidden = asks.length > 0; return keep; })(),
        button("Line not in operation", () => keepNow({ value: "not run" }), "entry-idle"),
        button("Another check first", () => { start(""); draw(); })
      ),
      window.besideIt(one, draft, page, draw, remember)
    );
  }

  function questions() {
    return make(
      "div",
      { class: "entry-asks", role: "alert" },
      make("h3", {}, "Before it is kept"),
      asks.map((one) => make("p", {}, one.says)),
      make(
        "div",
        { class: "entry-do" },
        button("Change it", () => {
          asks = [];
          draft.value = "";
          draw();
          const field = document.getElementById("entry-value");
          if (field) field.focus();
        }, "entry-keep"),
        button("Keep as typed", () => keepNow(null, asks.map((one) => one.kind).concat(["unit", "point", "far"])), "entry-idle")
      )
    );
  }

  function nothingOpen() {
    const left = urgent().length;
    return make("section", { class: "entry-card entry-none" },
      make("h2", {}, left ? "Choose a check" : "Nothing is due this shift"),
      ...(left ? ["What is due stands first."] : [page.following, "Any check can be written down all the same."]).map((words) => words && make("p", {}, words)));
  }

  /* What the parts of the page in other files may do here. */
  function tools() {
    return {
      last: last, hold: hold, page: page, cards: cards(), open: open, technician: technician(), verdicts: VERDICTS, groups: GROUPS,
      draw: draw, say: say, refresh: refresh,
      goOn: () => { hold = false; next(); },
      choose: (id) => { hold = false; note = ""; start(id); draw(); window.scrollTo(0, 0); },
      isLast: (mine) => mine === last,
    };
  }

  /* the page comes and goes */

  function look() {
    const found = document.getElementById("write");
    if (found === root) {
      if (root && page && counted() !== rows) refresh(); // somebody wrote something down elsewhere
      return;
    }
    root = found;
    last = page = null;
    hold = false;
    note = "";
    if (root) refresh();
  }

  function counted() {
    const place = document.getElementById("rows");
    return place ? place.textContent : "";
  }

  function watch() {
    new MutationObserver(look).observe(document.body, { childList: true, subtree: true, characterData: true });
    look();
  }

  document.body ? watch() : document.addEventListener("DOMContentLoaded", watch);
})();
