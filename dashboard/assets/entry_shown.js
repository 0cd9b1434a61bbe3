/* Writing checks down: what stands beside a reading, and what waits on this tablet. */
(function () {
  "use strict";

  const queue = window.writtenDown;
  const { make, button, choice } = window.putIn;

  function time(at) {
    return new Date(at).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  }

  window.whatWaits = function (place, sent) {
    if (!place) return;
    const items = queue.all();
    const waiting = items.filter((item) => item.state === "waiting");
    const stuck = items.filter((item) => item.state !== "waiting");
    const parts = [];
    if (waiting.length && !(waiting.length === 1 && waiting[0].body.entry === sent)) {
      const since = "since " + time(Math.min(...waiting.map((item) => item.typed)));
      const many = waiting.length === 1 ? "1 entry waits" : waiting.length + " entries wait";
      const why = queue.problem() && queue.problem() !== "away" ? " " + queue.problem() : "";
      parts.push(make("p", { class: "entry-waiting" }, many + " on this tablet " + since + "." + why));
    }
    if (!queue.keeps()) parts.push(make("p", {}, "This browser keeps nothing: leave this page open until all has arrived."));
    stuck.forEach((item) => parts.push(stuckItem(item)));
    const words = parts.map((part) => part.textContent).join("|");
    if (place.dataset.words === words) return;
    place.dataset.words = words;
    place.replaceChildren(...parts);
  };

  function stuckItem(item) {
    const why = item.state === "asks" ? item.asks.map((one) => one.says).join(" ") : "It was not kept. " + item.says;
    return make(
      "div",
      { class: "entry-stuck" },
      make("p", {}, make("strong", {}, item.about.title + ": " + item.body.value), " (written " + time(item.typed) + "). " + why),
      make(
        "div",
        { class: "buttons" },
        item.state === "asks"
          ? button("Keep it as typed", () => {
              const sure = item.asks.map((one) => one.kind).concat(item.body.sure || []);
              queue.change(item.body.entry, { state: "waiting", body: Object.assign({}, item.body, { sure: sure }) });
              queue.flush();
            })
          : "",
        button("Throw it away", () => queue.drop(item.body.entry))
      )
    );
  }

  /* Unlikely to change from one reading to the next: instrument, time, shift, note. */
  window.besideIt = function (one, draft, page, draw, remember) {
    const chosen = one.instruments.find((each) => each.name === draft.instrument);
    const summary = [draft.instrument || "no instrument named", draft.taken ? "taken " + draft.taken.replace("T", " ") : "taken now"];
    const other = make("input", { id: "entry-instrument", type: "text", autocomplete: "off", maxlength: "80",
      input: (event) => { draft.instrument = event.target.value.trim(); } });
    if (!chosen) other.value = draft.instrument || "";
    const taken = make("input", { id: "entry-taken", type: "datetime-local", max: page.now, input: (event) => { draft.taken = event.target.value; } });
    taken.value = draft.taken || "";
    const words = make("textarea", { id: "entry-words", rows: "2", maxlength: "500", input: (event) => { draft.note = event.target.value; } });
    words.value = draft.note || "";
    return make(
      "div",
      { class: "entry-beside" },
      chosen && chosen.warning ? make("p", { class: "entry-warning" }, chosen.name + ": " + chosen.warning + ". Take another instrument, or ask before it is used.") : "",
      make(
        "details",
        { class: "entry-more" },
        make("summary", {}, summary.join(" \u00b7 ")),
        one.instruments.length > 1
          ? choice("Instrument", one.instruments.map((each) => [each.name, each.name + (each.warning ? " (" + each.warning + ")" : "")]), draft.instrument,
              (value) => { draft.instrument = value; draw(); })
          : "",
        make("div", { class: "entry-line" }, make("label", { for: "entry-instrument" }, one.instruments.length ? "Another instrument" : "Instrument"), other),
        make("div", { class: "entry-line" }, make("label", { for: "entry-taken" }, "Taken earlier (" + page.zone + ")"), taken),
        page.shifts.length
          ? choice("Shift", page.shifts.map((each) => [each, each]), draft.shift, (value) => { draft.shift = value; remember("shift", value); draw(); })
          : "",
        make("div", { class: "entry-line" }, make("label", { for: "entry-words" }, "Note"), words)
      ),
      make("p", { class: "entry-asked" }, "Asked: " + one.asked + (one.confirmed ? "" : ", not confirmed for this site"), one.step ? "; read to " + window.putIn.say(one.step) + " " + one.unit : ""),
      one.cautions.length ? make("ul", { class: "entry-cautions" }, one.cautions.map((each) => make("li", {}, each))) : ""
    );
  };
})();
