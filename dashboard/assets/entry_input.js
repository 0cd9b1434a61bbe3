/* What a reading is put in with: a number pad, the settling tube to tap, words to choose. */
(function () {
  "use strict";

  const TUBE_DIVISION = 0.05; // of the usual stem, mL
  const TUBE_HALF = 0.5; // what is shown of it at once, so that a glove hits one division

  /* Make an element: attributes by name, "on" handlers as functions, children as texts or elements. */
  function make(tag, attributes, ...children) {
    const element = document.createElement(tag);
    Object.entries(attributes || {}).forEach(([name, value]) => {
      if (value === null || value === undefined || value === false) return;
      if (typeof value === "function") element.addEventListener(name, value);
      else element.setAttribute(name, value === true ? "" : value);
    });
    children.flat().forEach((child) => {
      if (child !== null && child !== undefined && child !== "") element.append(child);
    });
    return element;
  }

  function button(words, click, className, more) {
    return make("button", Object.assign({ type: "button", class: "button " + (className || ""), click: click }, more), words);
  }

  /* One of several: a row of buttons of which one is down. */
  function choice(label, options, chosen, pick) {
    return make(
      "div",
      { class: "entry-choice", role: "group", "aria-label": label },
      make("span", { class: "entry-choice-label", "aria-hidden": "true" }, label),
      options.map(([value, words]) =>
        button(words, () => pick(value), value === chosen ? "button-on" : "", { "aria-pressed": String(value === chosen) })
      )
    );
  }

  let sign = "."; // that this site writes before decimals

  /* A number as this site writes it. */
  function say(text) {
    return String(text).replace(".", sign);
  }

  /* What to ask of a number that can be read in two ways: 1.234 where the site writes a decimal comma. */
  function twoWays(text) {
    const other = sign === "," ? "." : ",";
    const found = /^[<>]?[-\u2212]?0*[1-9]\d{0,2}[.,]\d{3}$/.test(text || "") && text.includes(other);
    return found ? "\u201c" + text + "\u201d can be read in two ways; write " + text.replace(other, "") + " or " + text.replace(other, sign) + "." : "";
  }

  function number(text) {
    if (twoWays(text)) return NaN;
    const plain = String(text).replace(/^[<>]/, "").replace("\u2212", "-").replace(",", ".");
    return /^-?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
  }

  function clean(text) {
    return text.replace("\u2212", "-").replace(/[^0-9.,<>-]/g, "").slice(0, 16);
  }

  /* A field that a keyboard can type into and the pad below it. */
  function field(card, draft, name, label, unit, changed) {
    const input = make("input", {
      id: "entry-" + name,
      class: "entry-number",
      type: "text",
      inputmode: "none",
      autocomplete: "off",
      spellcheck: "false",
      "aria-describedby": "entry-" + name + "-unit",
      input: () => {
        draft[name] = clean(input.value);
        if (input.value !== draft[name]) input.value = draft[name];
        changed();
      },
      focus: () => {
        draft.target = name;
        document.querySelectorAll(".entry-field").forEach((one) => one.classList.toggle("entry-field-on", one.contains(input)));
      },
    });
    input.value = draft[name] || "";
    return make(
      "div",
      { class: "entry-field" + (draft.target === name ? " entry-field-on" : "") },
      make("label", { for: "entry-" + name }, label),
      make("div", { class: "entry-field-row" }, input, make("span", { id: "entry-" + name + "-unit", class: "unit" }, unit))
    );
  }

  function pad(card, draft, changed) {
    function press(key) {
      const name = draft.target || "value";
      let text = draft[name] || "";
      if (key === "back") text = text.slice(0, -1);
      else if (key === "clear") text = "";
      else if (key === "<" || key === ">") text = (text[0] === key ? "" : key) + text.replace(/^[<>]/, "");
      else if (key === "-") text = text.startsWith("-") ? text.slice(1) : "-" + text;
      else if (key === ".") text = /[.,]/.test(text) ? text : (/\d$/.test(text) ? text : text + "0") + sign;
      else text += key;
      draft[name] = clean(text);
      const input = document.getElementById("entry-" + name);
      if (input) input.value = draft[name];
      changed();
    }
    const extra = card.signed ? ["-", "\u2212", "minus"] : ["00", "00", "double zero"];
    const keys = [
      ["7", "7"], ["8", "8"], ["9", "9"], ["back", "\u232b", "take the last one away"],
      ["4", "4"], ["5", "5"], ["6", "6"], ["<", "<", "less than"],
      ["1", "1"], ["2", "2"], ["3", "3"], [">", ">", "more than"],
      [".", sign, sign === "," ? "decimal comma" : "decimal point"], ["0", "0"], extra, ["clear", "C", "clear"],
    ];
    return make(
      "div",
      { class: "entry-pad", role: "group", "aria-label": "Number pad" },
      keys.map(([key, words, said]) =>
        button(words, () => press(key), /^\d+$/.test(key) ? "entry-key" : "entry-key entry-key-side", said ? { "aria-label": said } : {})
      )
    );
  }

  /* The stem of a settling tube: one band a division, its line in the middle of the band. */
  function tube(card, draft, changed, redraw) {
    const value = number(draft.value);
    const from = draft.upper ? TUBE_HALF : 0;
    const bands = [];
    for (let place = 0; place <= Math.round(TUBE_HALF / TUBE_DIVISION); place += 1) {
      const level = Number((from + place * TUBE_DIVISION).toFixed(2));
      const filled = !isNaN(value) && value >= level;
      const whole = Math.round(level * 100) % 10 === 0;
      bands.push(
        button(
          make("span", { class: "tube-line" + (whole ? " tube-line-long" : "") }, whole ? say(level.toFixed(1)) : ""),
          () => { draft.value = say(level.toFixed(2)); redraw(); changed(); },
          "tube-band" + (filled ? " tube-filled" : "") + (value === level ? " tube-chosen" : ""),
          { "aria-label": say(level.toFixed(2)) + " " + card.unit, "aria-pressed": String(value === level) }
        )
      );
    }
    const step = card.step || TUBE_DIVISION;
    function move(way) {
      const next = (isNaN(value) ? from : value) + way * step;
      if (next < -1e-9) return;
      draft.value = say(next.toFixed(Math.max(2, card.places)));
      draft.upper = next > TUBE_HALF + 1e-9;
      redraw();
      changed();
    }
    return make(
      "div",
      { class: "tube" },
      make("div", { class: "tube-stem", role: "group", "aria-label": "Stem of the settling tube" }, bands.reverse()),
      make(
        "div",
        { class: "tube-side" },
        make(
          "p",
          { class: "tube-value" },
          make("span", { class: "value" }, draft.value || "\u2013"),
          " ",
          make("span", { class: "unit" }, card.unit)
        ),
        make(
          "div",
          { class: "tube-steps" },
          button("\u2212 " + say(step), () => move(-1), "entry-key", { "aria-label": "one step of " + say(step) + " less" }),
          button("+ " + say(step), () => move(1), "entry-key", { "aria-label": "one step of " + say(step) + " more" })
        ),
        button(draft.upper ? "Lower half of the stem" : "Upper half of the stem", () => {
          draft.upper = !draft.upper;
          redraw();
        }, ""),
        button("Type it instead", () => { draft.typed = true; redraw(); }, ""),
        make("p", { class: "note" }, "Tap the line where the settled particles end.")
      )
    );
  }

  function words(card, draft, changed, redraw) {
    return make(
      "div",
      { class: "entry-words", role: "group", "aria-label": "What was seen" },
      card.words.map((word) =>
        button(word, () => { draft.value = word; redraw(); changed(); }, "entry-word" + (draft.value === word ? " button-on" : ""), {
          "aria-pressed": String(draft.value === word),
        })
      )
    );
  }

  function deviation(card, draft) {
    if (!card.deviation) return "";
    const value = number(draft.value);
    const reference = number(draft.reference);
    if (isNaN(value) || isNaN(reference) || reference <= 0 || /^[<>]/.test(draft.value)) return "";
    const percent = (100 * (value - reference)) / reference;
    const sign = percent > 0 ? "+" : percent < 0 ? "\u2212" : "";
    return "deviation " + sign + say(Math.abs(percent).toFixed(1)) + " %";
  }

  function put(card, draft, changed, redraw) {
    if (card.kind === "judged") return [words(card, draft, changed, redraw)];
    if (card.tube && !draft.typed) return [tube(card, draft, changed, redraw)];
    const parts = [field(card, draft, "value", card.deviation ? "Panel meter shows" : "Read", card.unit, changed)];
    if (card.asks_reference) {
      parts.push(field(card, draft, "reference", card.reference_name, card.deviation ? card.unit : "A", changed));
      if (card.references.length > 1)
        parts.push(choice("or", card.references.map((one) => [say(one), say(one)]), draft.reference, (one) => {
          draft.reference = one;
          draft.target = "value";
          redraw();
          changed();
        }));
      parts.push(make("p", { id: "entry-deviation", class: "entry-deviation", "aria-live": "polite" }, deviation(card, draft)));
    }
    const fields = make("div", { class: "entry-fields" }, parts);
    if (card.tube) fields.append(button("Tap the tube instead", () => { draft.typed = false; redraw(); }, ""));
    return [make("div", { class: "entry-measure" }, fields, pad(card, draft, changed))];
  }

  /* What can be said against a value without the server: why it cannot be, or that it is far from usual. */
  function refusal(card, draft) {
    if (card.kind === "judged") return draft.value ? "" : "Choose what was seen.";
    const value = number(draft.value);
    const bound = /^[<>]/.test(draft.value || "") ? draft.value[0] : "";
    const asks = twoWays(draft.value) || twoWays(draft.reference);
    if (asks) return asks;
    if (isNaN(value)) return draft.value ? "This is no number." : "Put in what was read.";
    const [low, high] = card.possible;
    if (low !== null && (value < low || (bound === "<" && value <= low))) return card.title + " cannot be below " + say(low) + " " + card.unit + ".";
    if (high !== null && (value > high || (bound === ">" && value >= high))) return card.title + " cannot be above " + say(high) + " " + card.unit + ".";
    if (card.asks_reference && !(number(draft.reference) > 0)) return "Put in the reference too.";
    return "";
  }

  function doubt(card, draft) {
    const value = number(draft.value);
    if (!card.usual || isNaN(value) || /^[<>]/.test(draft.value)) return "";
    const x = card.deviation ? (100 * (value - number(draft.reference))) / number(draft.reference) : value;
    const low = card.usual[0], high = card.usual[1];
    return x < low || x > high ? draft.value + " " + card.unit + " lies far outside the readings before. Is the unit right, and the decimal point?" : "";
  }

  window.putIn = { writes: (mark) => { sign = mark || "."; }, say: say, make: make, button: button, choice: choice, put: put, deviation: deviation, refusal: refusal, doubt: doubt };
})();
