/* Writing checks down: what is said of the last reading, a reaction to what moves, a slip put right. */
(function () {
  "use strict";

  const { make, button } = window.putIn;

  /* what was said of the last reading */

  window.lastSaid = function (page) {
    const last = page.last;
    const bad = ["fail", "outside"].includes(last.word);
    const parts = [
      make("h2", { class: "entry-verdict" }, make("span", { class: "entry-mark", "aria-hidden": "true" }), page.verdicts[last.word]),
      make("p", { class: "entry-said" }, last.title + ": ", make("strong", {}, last.value), last.at ? ", " + last.at : "", last.who ? ", " + last.who : ""),
      make("p", {}, [last.verdict, last.margin ? last.margin[0].toUpperCase() + last.margin.slice(1) + "." : ""].join(" ")),
    ];
    if (last.before && last.word !== "waiting") parts.push(make("p", { class: "note" }, "It stood there already; it was kept once."));
    if (last.course && last.course.course) {
      const picture = make("span", { class: "course entry-course", role: "img", "aria-label": last.course_words });
      Object.entries(last.course).forEach(([layer, url]) => {
        const span = make("span", { class: "course-" + layer });
        span.style.setProperty("--picture", url);
        picture.append(span);
      });
      parts.push(picture);
    }
    if (bad) {
      parts.push(make("h3", {}, "What a failed check obliges"), make("ol", {}, last.obliges.map((one) => make("li", {}, one))));
      parts.push(make("p", {}, last.exposed, " ", make("a", { href: last.exposed_href }, "What is in doubt, and where to write down what was done")));
    }
    if (last.signal) parts.push(signal(page, last.signal));
    parts.push(slip(page));
    if (page.hold) parts.push(button("Go on with the next check", () => { page.goOn(); page.draw(); }, "entry-keep"));
    return make("section", { class: "entry-told entry-told-" + last.word.replace(" ", "-"), "aria-label": "The last reading" }, parts);
  };

  function signal(page, one) {
    const last = page.last;
    const parts = [make("h3", {}, one.raised ? "This reading shows that something moves" : "Something moves"), make("p", {}, one.sentence)];
    if (one.reacted) return make("div", { class: "entry-signal" }, parts, make("p", { class: "note" }, "Written down: " + one.reacted));
    const cause = make("input", { id: "entry-cause", type: "text", list: "entry-causes", maxlength: "500", autocomplete: "off" });
    const action = make("input", { id: "entry-action", type: "text", maxlength: "500", autocomplete: "off" });
    cause.value = last.cause || "";
    action.value = last.action || "";
    cause.addEventListener("input", () => { last.cause = cause.value; });
    action.addEventListener("input", () => { last.action = action.value; });
    return make(
      "div",
      { class: "entry-signal" },
      parts,
      one.look_first.length
        ? [make("p", {}, "Look first, in this order; tap what it was:"),
           make("div", { class: "entry-looks" }, one.look_first.map((each) => button(each, () => { last.cause = each; page.draw(); }, last.cause === each ? "button-on" : "", { "aria-pressed": String(last.cause === each) })))]
        : "",
      make("div", { class: "entry-line" }, make("label", { for: "entry-cause" }, "Cause"), cause),
      make("div", { class: "entry-line" }, make("label", { for: "entry-action" }, "What was done"), action),
      last.reaction ? make("p", { role: "alert" }, last.reaction) : "",
      make("div", { class: "entry-do" },
        button("Keep the reaction", () => react(page, true)),
        button("Seen, not looked at yet", () => react(page, false)))
    );
  }

  async function react(page, whole) {
    const last = page.last;
    const said = { line: last.body.line, check: last.body.check, position: last.body.position, technician: page.technician,
                   at: String(last.signal.at), rule: last.signal.rule };
    if (whole) Object.assign(said, { cause: (last.cause || "").trim(), action: (last.action || "").trim() });
    else said.seen = "yes";
    const answer = await asked("/write/react", said);
    if (answer.state === "kept") {
      last.signal.reacted = answer.says.replace(/^Kept: /, "");
      if (page.isLast(last) && !["fail", "outside"].includes(last.word)) page.goOn();
    } else last.reaction = answer.says;
    page.say(answer.says);
    page.draw();
  }

  async function asked(path, said) {
    try {
      return (await window.writtenDown.post(path, said)).body;
    } catch (away) {
      return { state: "away", says: "No contact with the server: try again when it is back." };
    }
  }

  /* a slip just made */

  function slip(page) {
    const last = page.last;
    if (!last.body) return "";
    if (!last.mending) {
      return make("div", { class: "entry-slip" },
        last.mended ? make("p", {}, last.mended) : "",
        button("Put the last one right", () => { last.mending = true; page.draw(); const field = document.getElementById("entry-right"); if (field) field.focus(); }),
        make("a", { class: "button", href: last.href }, "Its chart"));
    }
    const value = make("input", { id: "entry-right", type: "text", inputmode: "decimal", maxlength: "40", autocomplete: "off" });
    value.value = last.body.value;
    const why = make("input", { id: "entry-why", type: "text", maxlength: "300", autocomplete: "off" });
    why.value = "typed wrong";
    const keep = (text) => mend(page, text, why.value.trim());
    return make(
      "div",
      { class: "entry-slip entry-mend" },
      make("h3", {}, "Put the last one right"),
      make("div", { class: "entry-line" }, make("label", { for: "entry-right" }, "It should say"), value),
      make("div", { class: "entry-line" }, make("label", { for: "entry-why" }, "Why"), why),
      last.mended ? make("p", { role: "alert" }, last.mended) : "",
      make("p", { class: "note" }, "What was first typed stays in the record, with this correction beside it."),
      make("div", { class: "entry-do" },
        button("Keep the correction", () => keep(value.value.trim())),
        button("It should not be there at all", () => keep("")),
        button("Leave it", () => { last.mending = false; page.draw(); }))
    );
  }

  async function mend(page, value, why) {
    const last = page.last;
    const said = Object.assign({}, last.body, { value: value, why: why });
    ["sure", "taken"].forEach((one) => delete said[one]);
    const answer = await asked("/write/correct", said);
    last.mended = answer.says;
    if (answer.state === "kept") {
      last.mending = false;
      last.value = value || "taken out";
      last.word = "undecided";
      last.verdict = "Corrected; its chart shows how it stands now.";
      last.margin = "";
      last.obliges = [];
      last.signal = null;
      last.course = {};
      last.body = null;
      if (page.hold) page.goOn();
      page.refresh();
    }
    page.say(answer.says);
    page.draw();
  }
})();
