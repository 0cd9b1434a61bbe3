/* What only the browser can do in the drift room: draw and follow the figure of a part, copy the address. */
(function () {
  "use strict";

  const same = () => window.dash_clientside.no_update;

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    drift: {
      /* No figure: its place is not shown at all. */
      draw(figure) {
        if (!figure) return [same(), true];
        figure.layout.dragmode = window.matchMedia("(pointer: coarse)").matches ? false : "zoom";
        return [figure, false];
      },
      /* A zoom beside the chart is the zoom of the chart: both stand on one address. */
      zoomed(change) {
        return window.dash_clientside.booth.zoomed(change);
      },
    },
  });

  /* The address in the bar may follow the newest readings; what is handed over stays on these. */
  async function copied(button) {
    const said = document.getElementById("drift-copied");
    try {
      const here = new URL(window.location.href);
      const stays = here.searchParams.has("from") || here.searchParams.has("to");
      await navigator.clipboard.writeText(stays ? here.href : new URL(button.dataset.href || "", here).href);
      if (said) said.textContent = "Copied: it opens exactly this.";
    } catch (refused) {
      if (said) said.textContent = "Copy the address of this page: it opens this.";
    }
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("#drift-copy");
    if (button) copied(button);
  });

  /* the way into the drift room is marked while one of its streams is open */
  new MutationObserver(() => {
    if (window.location.pathname !== "/stream") return;
    const way = document.querySelector('#ways a[href="/streams"]');
    if (way && way.getAttribute("aria-current") !== "true") way.setAttribute("aria-current", "true");
  }).observe(document.documentElement, { childList: true, subtree: true, attributes: true, attributeFilter: ["aria-current"] });
})();
