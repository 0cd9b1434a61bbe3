/* A failed check: a tap says what is written down; that a step is on its way; the reply, which takes nothing away. */
(function () {
  "use strict";

  const STEP = '"output":"window-reply.data"'; // in the request that keeps a step
  const WAITING = "Keeping ...";
  const UNANSWERED = "No answer: whether it was kept is not known. Your words stand here still. Once the server answers, " +
    "look whether they stand under \u201cWritten down\u201d; kept again in the same words, they stand there once.";

  const same = () => window.dash_clientside.no_update;

  function chosen() {
    const button = document.querySelector("[data-step][aria-pressed='true']");
    return button ? button.dataset.step : "";
  }

  function unanswered() {
    const place = document.getElementById("window-said");
    if (place && place.textContent === WAITING)
      window.dash_clientside.set_props("window-said", { children: UNANSWERED, className: "said said-refused" });
  }

  /* Nothing else hears of a step that the server never answered, or could not. */
  const ask = window.fetch.bind(window);
  window.fetch = function (what, how) {
    const answer = ask(what, how);
    if (how && typeof how.body === "string" && how.body.includes(STEP))
      answer.then((told) => { if (!told.ok && told.status !== 401) unanswered(); }, unanswered);
    return answer;
  };

  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("[data-step]");
    if (!button) return;
    button.parentElement.querySelectorAll("[data-step]").forEach((one) => {
      one.setAttribute("aria-pressed", String(one === button));
    });
    window.dash_clientside.set_props("window-kind", { data: button.dataset.step });
  });

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    record: {
      underWay(clicks) {
        return clicks ? [WAITING, "said"] : [same(), same()];
      },
      /* A reply that comes late may find another page, or somebody who typed on. */
      replied(reply) {
        if (!reply || reply.of !== window.location.search) return [same(), same(), same(), same(), same()];
        const field = document.getElementById("window-words");
        const typed = Boolean(field && field.value.trim() && field.value !== reply.sent);
        const stays = !reply.form || typed || (field && chosen() !== reply.kind);
        if (reply.form && stays && field && field.value === reply.sent)
          window.dash_clientside.set_props("window-words", { value: "" });
        return [
          reply.said + (typed && reply.form ? " What you typed meanwhile stands here still." : ""),
          reply.how,
          reply.body || same(),
          stays ? same() : reply.form,
          stays && reply.form ? reply.seen : same(),
        ];
      },
    },
  });
})();
