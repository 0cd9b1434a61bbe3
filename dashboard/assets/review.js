/* The review: what is asked of the server. A review that came with its page and still holds is not asked for again. */
(function () {
  "use strict";

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    review: {
      asked(search, shown) {
        const opened = window.dash_clientside.callback_context.triggered.length === 0;
        return opened && shown === search ? window.dash_clientside.no_update : search;
      },
    },
  });
})();
