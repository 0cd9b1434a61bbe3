/* The chart library: asked for under the address that tells its content, and fetched once the page has been painted, so
   that the first chart draws at once. */
(function () {
  "use strict";

  const address = document.querySelector('meta[name="charts"]');
  if (!address) return;
  Object.defineProperty(window, "_dashPlotlyJSURL", { get: () => address.content, set: () => {} });

  function fetchIt() {
    if (window.Plotly || document.querySelector("script[data-charts]")) return;
    const script = document.createElement("script");
    script.src = address.content;
    script.async = true;
    script.dataset.charts = "early";
    document.head.append(script);
  }

  const painted = new MutationObserver(() => {
    if (!document.querySelector("main h1")) return;
    painted.disconnect();
    const later = window.requestIdleCallback || ((go) => setTimeout(go, 200));
    requestAnimationFrame(() => later(fetchIt, { timeout: 2000 }));
  });
  painted.observe(document.documentElement, { childList: true, subtree: true });
})();
