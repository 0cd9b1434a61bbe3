/* Writing checks down: all checks in the order in which they are to be done, and one that is not listed. */
(function () {
  "use strict";

  const { make, button } = window.putIn;

  window.allChecks = function (page) {
    const due = page.cards.some((card) => !["later", "resting"].includes(card.when));
    const groups = page.groups.map(([key, words]) => {
      const own = page.cards.filter((card) => card.when === key);
      if (!own.length) return "";
      const rows = own.map((card) =>
        make("li", {}, make("button", { type: "button", class: "entry-row" + (card.id === page.open ? " entry-row-on" : ""), "aria-current": card.id === page.open ? "true" : null,
          click: () => page.choose(card.id) },
          make("span", { class: "entry-row-name" }, card.title + (card.position ? ", " + card.position : "")),
          make("span", { class: "entry-row-line" }, card.line),
          make("span", { class: "entry-row-due" }, card.due)))
      );
      const name = key.replace(" ", "-");
      const head = words + " (" + own.length + ")";
      if (["later", "resting"].includes(key))
        return make("details", { class: "entry-group", "data-group": name, open: key === "later" && !due ? "" : null }, make("summary", {}, head), make("ul", {}, rows));
      return make("section", { class: "entry-group entry-group-" + name, "aria-label": head }, make("h3", {}, head), make("ul", {}, rows));
    });
    return make("section", { class: "entry-list", "aria-label": "All checks" }, make("h2", {}, "Checks"), groups, otherCheck(page));
  };

  function otherCheck(tools) {
    const page = tools.page;
    const check = make("select", { id: "entry-other-check" }, page.others.map((one) => make("option", { value: one.check }, one.title)));
    const line = make("input", { id: "entry-other-line", type: "text", list: "entry-lines", maxlength: "80", autocomplete: "off" });
    line.value = page.lines.length === 1 ? page.lines[0] : "";
    const place = make("input", { id: "entry-other-place", type: "text", maxlength: "80", autocomplete: "off" });
    return make(
      "details",
      { class: "entry-other" },
      make("summary", {}, "A check that is not listed"),
      make("div", { class: "entry-line" }, make("label", { for: "entry-other-check" }, "Check"), check),
      make("div", { class: "entry-line" }, make("label", { for: "entry-other-line" }, "Line"), line),
      make("datalist", { id: "entry-lines" }, page.lines.map((one) => make("option", { value: one }))),
      make("div", { class: "entry-line" }, make("label", { for: "entry-other-place" }, "Where: tank, lamp, head"), place),
      make("p", { class: "note" }, "Written in the same way each time: another spelling starts another chart."),
      button("Open it", () => {
        if (!line.value.trim()) { line.focus(); return; }
        const made = Object.assign({}, page.others.find((one) => one.check === check.value).card,
          { id: "own-" + [line.value, check.value, place.value].join("|"), line: line.value.trim(), position: place.value.trim() });
        const known = page.cards.find((one) => one.line === made.line && one.check === made.check && one.position === made.position);
        if (!known) page.own = (page.own || []).filter((one) => one.id !== made.id).concat([made]);
        tools.choose(known ? known.id : made.id);
      })
    );
  }
})();
