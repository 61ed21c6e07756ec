/* Waits for another state of the preview and puts what has changed into the page; its reader stays where they are. */
(function () {
  "use strict";
  var own = document.currentScript.dataset;
  var KEPT = "preview:" + window.location.pathname;
  /* What the page's own script has prepared when it was loaded can't be exchanged without it. */
  var PREPARED = ".chart, .stacked, .sortable, form, video";
  var number = own.number;

  function parts(of) {
    return Array.from(of.querySelector("main").children);
  }

  function texts(nodes) {
    return nodes.map(function (node) { return node.outerHTML; });
  }

  /* As served: the page's own script changes it only when all of it is there. */
  var served = texts(parts(document));

  /* The part with an address that stands at the window's top, and how far from it. */
  function place() {
    var near = null;
    document.querySelectorAll("main [id], h1").forEach(function (part) {
      if (part.getClientRects().length && (!near || part.getBoundingClientRect().top <= 8)) near = part;
    });
    return near && { id: near.id, top: near.getBoundingClientRect().top, y: window.scrollY };
  }

  function scroll(to) {
    if (!to) return;
    var part = to.id && document.getElementById(to.id);
    if (part) window.scrollBy(0, part.getBoundingClientRect().top - to.top);
    else window.scrollTo(0, to.y);
  }

  /* What is folded out is known by its words and how many of the same stand before it. */
  function folds() {
    var before = {};
    return Array.from(document.querySelectorAll("main details")).map(function (part) {
      var words = part.querySelector("summary").textContent;
      before[words] = (before[words] || 0) + 1;
      return { part: part, name: words + "#" + before[words] };
    });
  }

  function load() {
    var open = folds().filter(function (fold) { return fold.part.open; });
    var kept = { place: place(), open: open.map(function (fold) { return fold.name; }) };
    sessionStorage.setItem(KEPT, JSON.stringify(kept));
    history.scrollRestoration = "manual";
    window.location.reload();
  }

  var kept = JSON.parse(sessionStorage.getItem(KEPT) || "null");
  sessionStorage.removeItem(KEPT);
  if (kept) {
    /* Behind the page's own script, which goes to the address after the "#"; so does the browser, later. */
    document.addEventListener("DOMContentLoaded", function () {
      folds().forEach(function (fold) { if (kept.open.indexOf(fold.name) >= 0) fold.part.open = true; });
      scroll(kept.place);
    });
    window.addEventListener("load", function () {
      scroll(kept.place);
      history.scrollRestoration = "auto";
    });
  }

  /* Exchanges the parts between the first and the last that differ; false where that can't be done. */
  function exchanged(other) {
    var now = parts(document), then = parts(other), said = texts(then), start = 0, end = 0;
    if (now.length !== served.length) return false;
    while (start < Math.min(served.length, said.length) && served[start] === said[start]) start += 1;
    while (end < Math.min(served.length, said.length) - start &&
      served[served.length - 1 - end] === said[said.length - 1 - end]) end += 1;
    var gone = now.slice(start, now.length - end), come = then.slice(start, then.length - end);
    var prepared = gone.concat(come).some(function (part) {
      return part.matches(PREPARED) || part.querySelector(PREPARED);
    });
    if (prepared) return false;
    var at = place(), main = document.querySelector("main"), next = now[now.length - end] || null;
    gone.forEach(function (part) { part.remove(); });
    come.forEach(function (part) { main.insertBefore(document.importNode(part, true), next); });
    ["header.masthead", "nav.contents"].forEach(function (part) {
      var old = document.querySelector(part), fresh = other.querySelector(part);
      if (old && fresh) old.replaceWith(document.importNode(fresh, true));
    });
    document.title = other.title;
    served = said;
    scroll(at);
    return true;
  }

  function shown(of) {
    number = of;
    document.documentElement.dataset.preview = of;
  }

  function look() {
    fetch(window.location.href.split("#")[0]).then(function (answer) { return answer.text(); }).then(function (text) {
      var other = new DOMParser().parseFromString(text, "text/html");
      var script = other.querySelector("script[data-number]");
      if (!script || !other.querySelector("main") || !exchanged(other)) load();
      else shown(script.dataset.number);
    }).catch(function () { /* The preview has ended, or the next state tells. */ });
  }

  shown(own.number);
  new EventSource(own.events).onmessage = function (event) {
    if (event.data !== number) look();
  };
})();
