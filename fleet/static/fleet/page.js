/* What pages do beyond their markup. Everything works without it. */
"use strict";

// A refresh that fails says so, instead of leaving an old answer standing as if it were new.
document.addEventListener("htmx:afterRequest", (event) => {
  const stale = document.getElementById("stale");
  if (stale) {
    const status = event.detail.xhr ? event.detail.xhr.status : 0;
    stale.hidden = event.detail.successful || status === 304;
  }
});
