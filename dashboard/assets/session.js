/* Who is at this screen: signing in, changing person, what happens when a session ends. Without accounts it is silent.
   What was asked while nobody was signed in waits, and is asked again once somebody is: the page stays as it was. */
(function () {
  "use strict";

  const NAMES = "people-here"; // names that signed in at this browser, to be tapped
  const MOST_NAMES = 12;
  const ask = window.fetch.bind(window);
  let waiting = []; // what goes on once somebody signed in
  let sheet = null;
  let touched = true;

  function make(kind, attributes, ...inside) {
    const made = document.createElement(kind);
    Object.entries(attributes || {}).forEach(([name, value]) => {
      if (name in made && typeof value !== "string") made[name] = value;
      else made.setAttribute(name, value);
    });
    made.append(...inside.filter((one) => one !== null));
    return made;
  }

  /* names that signed in here before */

  function names() {
    try {
      const kept = JSON.parse(localStorage.getItem(NAMES) || "[]");
      return Array.isArray(kept) ? kept.filter((one) => typeof one === "string") : [];
    } catch (refused) {
      return [];
    }
  }

  function keepNames(list) {
    try {
      localStorage.setItem(NAMES, JSON.stringify(list.slice(0, MOST_NAMES)));
    } catch (refused) { /* they are typed then */ }
  }

  /* the form */

  function form(heading, why, done, cancel) {
    const known = names();
    const name = make("input", { name: "name", autocomplete: "username", autocapitalize: "none", spellcheck: "false", required: "" });
    const password = make("input", { name: "password", type: "password", autocomplete: "current-password", required: "" });
    const wall = make("input", { type: "checkbox", name: "wall" });
    const refusal = make("p", { class: "refusal", role: "alert" });
    const go = make("button", { class: "button go", type: "submit" }, "Sign in");
    const buttons = known.map((one) => {
      const button = make("button", { class: "button", type: "button", "aria-pressed": "false" }, one);
      button.addEventListener("click", () => {
        name.value = one;
        buttons.forEach((other) => other.setAttribute("aria-pressed", String(other === button)));
        password.focus();
      });
      return button;
    });
    const forget = make("button", { class: "button quiet-button", type: "button" }, "Forget these names on this screen");
    const people = known.length
      ? make("div", { class: "names", role: "group", "aria-label": "Signed in here before" }, ...buttons)
      : null;
    forget.addEventListener("click", () => {
      keepNames([]);
      people.remove();
      forget.remove();
      name.focus();
    });
    const made = make("form", { class: "sign-in" },
      heading,
      why ? make("p", {}, why) : null,
      people,
      make("label", {}, "Name", name),
      make("label", {}, "Password", password),
      make("label", { class: "wall-choice" }, wall,
        make("span", {}, "Wall screen: keep showing for 30 days; nothing can be written on it")),
      refusal, go,
      cancel ? make("button", { class: "button", type: "button" }, "Back") : null,
      known.length ? forget : null);
    if (cancel) made.querySelector(".go + .button").addEventListener("click", cancel);
    made.addEventListener("submit", async (event) => {
      event.preventDefault();
      go.disabled = true;
      refusal.textContent = "";
      try {
        const answer = await ask("/sign-in", {
          method: "POST",
          headers: { "Content-Type": "application/json" },
          body: JSON.stringify({ name: name.value, password: password.value, wall: wall.checked }),
        });
        const told = await answer.json();
        if (answer.ok) {
          password.value = "";
          keepNames([told.name].concat(names().filter((one) => one !== told.name)));
          done(told);
        } else {
          refusal.textContent = told.says;
          password.select();
        }
      } catch (problem) {
        refusal.textContent = "No contact with the server. Try again when it is back.";
      } finally {
        go.disabled = false;
      }
    });
    return made;
  }

  /* the sheet over a page */

  function open(why, locked) {
    if (sheet) return;
    const heading = make("h2", { id: "sign-in-heading" }, locked ? "Sign in to go on" : "Who is at this screen?");
    sheet = make("dialog", { class: "sign-in-sheet", "aria-labelledby": "sign-in-heading" });
    sheet.append(form(heading, why, signedIn, locked ? null : close));
    sheet.addEventListener("cancel", (event) => (locked ? event.preventDefault() : close()));
    document.body.append(sheet);
    sheet.showModal();
    const first = sheet.querySelector(".names .button") || sheet.querySelector("input");
    if (first) first.focus();
  }

  function close() {
    if (!sheet) return;
    sheet.close();
    sheet.remove();
    sheet = null;
  }

  function signedIn(told) {
    close();
    const who = document.getElementById("person-name");
    if (!who) return window.location.reload();
    who.textContent = told.name + (told.wall ? " (wall screen)" : " (" + told.role + ")");
    document.querySelectorAll(".no-right-said").forEach((one) => one.remove());
    const go = waiting;
    waiting = [];
    go.forEach((one) => one());
    window.dispatchEvent(new CustomEvent("signed-in", { detail: told }));
  }

  function ended() {
    open("The session on this screen ended, after a while without a touch or because the account changed. " +
         "The page stays as it is.", true);
  }

  /* what the board refuses */

  function noRight(words) {
    document.querySelectorAll(".no-right-said").forEach((one) => one.remove());
    const change = make("button", { class: "button", type: "button" }, "Change person");
    const away = make("button", { class: "button", type: "button" }, "Close");
    const said = make("div", { class: "no-right-said", role: "alert" },
      make("p", {}, words), make("div", { class: "buttons" }, change, away));
    change.addEventListener("click", () => open("", false));
    away.addEventListener("click", () => said.remove());
    document.body.append(said);
  }

  window.fetch = async function (what, how) {
    const answer = await ask(what, how);
    const address = new URL(typeof what === "string" ? what : what.url || String(what), window.location.href);
    if (address.origin !== window.location.origin) return answer;
    if (answer.status === 401 && document.getElementById("person-name")) {
      ended();
      if (address.pathname !== "/_dash-update-component") return answer;
      await new Promise((go) => waiting.push(go));
      return window.fetch(what, how);
    }
    if (answer.status === 403 && address.pathname === "/_dash-update-component")
      answer.clone().json().then((told) => noRight(told.says), () => {});
    return answer;
  };

  /* whether somebody is at the screen; live.js tells the server */

  window.boothTouched = () => {
    const was = touched;
    touched = false;
    return was;
  };
  ["pointerdown", "keydown", "wheel", "touchstart"].forEach((kind) =>
    document.addEventListener(kind, () => { touched = true; }, { passive: true, capture: true }));

  document.addEventListener("click", async (event) => {
    const asked = event.target.closest && event.target.closest("[data-session]");
    if (!asked) return;
    if (asked.dataset.session === "change") open("", false);
    if (asked.dataset.session === "out") {
      await ask("/sign-out", { method: "POST" });
      window.location.reload();
    }
  });

  /* the page of its own */

  const place = document.getElementById("sign-in");
  if (place) {
    try {
      document.documentElement.dataset.look = localStorage.getItem("look") || "auto";
    } catch (refused) { /* as the device */ }
    place.append(form(make("h1", {}, "Sign in"), "", () =>
      window.location.pathname === "/sign-in" ? window.location.assign("/") : window.location.reload(), null));
    const first = place.querySelector(".names .button") || place.querySelector("input");
    first.focus();
  }
})();
