/* A chart is a picture until its reader asks for more; then plotly is loaded and drawn exactly over it. */
(function () {
  "use strict";
  var root = document.documentElement;
  root.classList.add("js");
  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  var touch = window.matchMedia("(pointer: coarse)").matches;
  var charts = [];
  var wanted = [];
  var asked = false;

  function Chart(figure) {
    this.figure = figure;
    this.plot = figure.querySelector(".plot");
    this.picture = figure.querySelector(".picture");
    this.text = figure.querySelector('script[type="application/json"]').textContent;
    this.drawn = false;
    if (this.picture) this.offer();
    else this.plot.style.minHeight = this.plot.dataset.height + "px";
  }

  /* By click, tap or keyboard; once the script is there, coming near with the pointer is enough. */
  Chart.prototype.offer = function () {
    var chart = this, line = this.figure.querySelector(".explore");
    this.live = document.createElement("div");
    this.live.className = "live";
    this.plot.append(this.live);
    line.querySelector("button").addEventListener("click", function () { want(chart); });
    this.picture.addEventListener("click", function () { want(chart); });
    this.plot.addEventListener("pointerenter", function () { if (window.Plotly && !touch) want(chart); });
  };

  Chart.prototype.content = function () {
    var bundle = JSON.parse(this.text);
    if (dark.matches) {
      var text = this.text;
      Object.keys(bundle.dark).forEach(function (light) {
        text = text.replace(new RegExp(light, "gi"), bundle.dark[light]);
      });
      /* The exchange has turned the table of partners itself; only data, layout and frames are used. */
      bundle = JSON.parse(text);
    }
    var layout = bundle.layout;
    if (this.picture) this.fit(layout, bundle.frames);
    else layout.autosize = true, delete layout.width;
    if (touch) {
      /* A finger on a chart scrolls the page. */
      layout.dragmode = false;
      Object.keys(layout).forEach(function (name) {
        if (/^[xy]axis/.test(name)) layout[name].fixedrange = true;
      });
    }
    return { data: bundle.data, layout: layout, config: bundle.config };
  };

  /* The picture in view says where plotly has to put its axes. */
  Chart.prototype.fit = function (layout, frames) {
    var shown = Array.from(this.picture.children).find(function (room) { return room.clientWidth; });
    var frame = frames[shown.className], box = shown.firstElementChild.getBoundingClientRect();
    layout.autosize = false;
    layout.width = frame.width;
    layout.height = frame.height;
    layout.margin = frame.margin;
    Object.keys(frame.ranges).forEach(function (name) {
      layout[name] = layout[name] || {};
      layout[name].range = frame.ranges[name].slice();
      layout[name].autorange = false;
    });
    Object.keys(layout).forEach(function (name) {
      if (/^[xy]axis/.test(name)) layout[name].automargin = false;
    });
    this.ranges = frame.ranges;
    this.live.style.width = frame.width + "px";
    this.live.style.left = (box.left - this.plot.getBoundingClientRect().left) + "px";
    this.live.style.transform = "scale(" + box.width / frame.width + ")";
  };

  Chart.prototype.draw = function () {
    var content = this.content(), plot = this.plot;
    var first = !this.drawn;
    this.drawn = true;
    plot.setAttribute("aria-busy", "true");
    if (this.picture) content.config.responsive = false;
    plot.classList.remove("zoomed");
    window.Plotly.react(this.live || plot, content.data, content.layout, content.config).then(function (live) {
      plot.removeAttribute("aria-busy");
      plot.classList.add("drawn");
      if (first && this.picture) live.on("plotly_relayout", this.zoomed.bind(this, live));
      if (first) performance.mark("chart-explorable");
    }.bind(this));
    this.figure.querySelectorAll(".explore").forEach(function (line) {
      line.textContent = touch ? "Tap for values." : "Point for values, drag to zoom, double-click to go back.";
    });
  };

  /* Along a calendar axis plotly tells times as text. */
  function place(told) {
    var number = Number(told);
    return isNaN(number) ? Date.parse(String(told).replace(" ", "T") + "Z") : number;
  }

  /* The picture is what one sees, and values on pointing come over it, until a part of it is looked at. */
  Chart.prototype.zoomed = function (live) {
    var ranges = this.ranges;
    var away = Object.keys(ranges).some(function (name) {
      var now = live.layout[name].range.map(place), before = ranges[name].map(place);
      return Math.abs(now[0] - before[0]) + Math.abs(now[1] - before[1]) > 1e-6 * Math.abs(before[1] - before[0]);
    });
    this.plot.classList.toggle("zoomed", away);
  };

  Chart.prototype.resized = function () {
    if (this.drawn && this.picture) this.draw();
  };

  function drawWanted() {
    if (!window.Plotly) return;
    wanted.splice(0).forEach(function (chart) {
      if (!chart.drawn) chart.draw();
    });
  }

  function want(chart) {
    if (chart.drawn) return;
    chart.plot.setAttribute("aria-busy", "true");
    wanted.push(chart);
    load();
    drawWanted();
  }

  function load() {
    var source = document.body.dataset.charts;
    if (!source || asked) return;
    asked = true;
    performance.mark("charts-script-asked-for");
    var script = document.createElement("script");
    script.src = source;
    script.onload = drawWanted;
    script.onerror = function () {
      root.classList.remove("js");
      root.classList.add("no-charts");
      wanted.splice(0).forEach(function (chart) { chart.plot.removeAttribute("aria-busy"); });
    };
    document.head.appendChild(script);
  }

  /* The charts' script is large; the text comes first. A page opened out of sight is not painted at all. */
  function afterPaint(then) {
    var waiting = true;
    function once() {
      if (waiting) then();
      waiting = false;
    }
    new PerformanceObserver(function (list) {
      if (list.getEntriesByName("first-contentful-paint").length) once();
    }).observe({ type: "paint", buffered: true });
    setTimeout(once, 3000);
  }

  /* What another maker drew has no picture: it is drawn when it nears the screen. */
  function watch() {
    var bare = charts.filter(function (chart) { return !chart.picture; });
    if (!bare.length) return;
    var seen = new IntersectionObserver(function (entries) {
      entries.forEach(function (entry) {
        if (!entry.isIntersecting) return;
        seen.unobserve(entry.target);
        want(bare.find(function (chart) { return chart.figure === entry.target; }));
      });
    }, { rootMargin: "600px 0px" });
    bare.forEach(function (chart) { seen.observe(chart.figure); });
  }

  function redraw() {
    if (window.Plotly) charts.forEach(function (chart) { if (chart.drawn) chart.draw(); });
  }

  var resizing;
  function resized() {
    clearTimeout(resizing);
    resizing = setTimeout(function () {
      charts.forEach(function (chart) { chart.resized(); });
    }, 150);
  }

  function beforePrint() {
    document.querySelectorAll("main details:not([open])").forEach(function (part) {
      part.dataset.opened = "for print";
      part.open = true;
    });
    if (window.Plotly) charts.forEach(function (chart) { if (!chart.picture) chart.draw(); });
  }

  function afterPrint() {
    document.querySelectorAll("details[data-opened]").forEach(function (part) {
      part.open = false;
      delete part.dataset.opened;
    });
  }

  function key(row, column) {
    var cell = row.cells[column];
    var value = cell.dataset.sort === undefined ? cell.textContent : cell.dataset.sort;
    return { number: value === "" ? NaN : Number(value), text: value };
  }

  function compare(a, b) {
    var first = isNaN(a.number), second = isNaN(b.number);
    if (!first && !second) return a.number - b.number;
    if (first !== second) return first ? 1 : -1;
    return a.text.localeCompare(b.text);
  }

  function sort(table, column, header) {
    var down = header.getAttribute("aria-sort") === "ascending";
    table.querySelectorAll("thead th").forEach(function (other) { other.removeAttribute("aria-sort"); });
    header.setAttribute("aria-sort", down ? "descending" : "ascending");
    var body = table.tBodies[0];
    Array.from(body.rows).sort(function (a, b) {
      var first = key(a, column), second = key(b, column);
      /* What was not measured stays last either way. */
      if (first.text === "" || second.text === "") return compare(first, second);
      return down ? compare(second, first) : compare(first, second);
    }).forEach(function (row) { body.appendChild(row); });
  }

  function makeSortable(table) {
    table.querySelectorAll("thead th").forEach(function (header, column) {
      var button = document.createElement("button");
      button.type = "button";
      button.append.apply(button, Array.from(header.childNodes));
      header.append(button);
      button.addEventListener("click", function () { sort(table, column, header); });
    });
  }

  /* By words anywhere in a row, and by what its review shows; sorting keeps what is left out left out. */
  function makeNarrowable(form) {
    var rows = Array.from(document.querySelectorAll("table.shelf tbody tr"));
    var find = form.querySelector("[data-find]");
    var boxes = Array.from(form.querySelectorAll("input[data-has]"));
    var told = form.querySelector("output");
    function narrow() {
      var words = find.value.toLowerCase().split(/\s+/).filter(Boolean);
      var wanted = boxes.filter(function (box) { return box.checked; });
      var left = rows.filter(function (row) {
        var text = row.textContent.toLowerCase();
        var has = row.dataset.has.split(" ");
        row.hidden = !(words.every(function (word) { return text.indexOf(word) >= 0; }) &&
          wanted.every(function (box) { return has.indexOf(box.dataset.has) >= 0; }));
        return !row.hidden;
      });
      told.textContent = left.length === rows.length ? "" : left.length + " of " + rows.length + " shown";
    }
    form.hidden = false;
    form.addEventListener("input", narrow);
    form.addEventListener("submit", function (event) { event.preventDefault(); });
    narrow();
  }

  /* Where a narrow screen stacks a table's cells, CSS takes away what they are; this says it again. */
  var stacked = window.matchMedia("(max-width: 39.99rem)");
  var ROLES = {
    TABLE: "table", THEAD: "rowgroup", TBODY: "rowgroup", TR: "row", TD: "cell", TH: "rowheader"
  };
  function sayRoles() {
    document.querySelectorAll("table.stacked").forEach(function (table) {
      [table].concat(Array.from(table.querySelectorAll("thead, tbody, tr, th, td"))).forEach(function (part) {
        if (part.closest("table") !== table) return;
        var role = part.closest("thead") && part.tagName === "TH" ? "columnheader" : ROLES[part.tagName];
        if (stacked.matches) part.setAttribute("role", role);
        else part.removeAttribute("role");
      });
    });
  }

  function openTarget() {
    var target = window.location.hash && document.getElementById(decodeURIComponent(window.location.hash.slice(1)));
    for (var part = target; part; part = part.parentElement) if (part.tagName === "DETAILS") part.open = true;
    if (target) target.scrollIntoView();
  }

  /* Beside the video a moment is shown where it is; elsewhere, and without scripts, its link opens the video. */
  function showMoment(event) {
    var link = event.target.closest("a.moment");
    var video = document.querySelector("main video");
    if (!link || !video || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    video.currentTime = Number(link.hash.slice("#t=".length));
    video.scrollIntoView({ block: "nearest" });
    /* A browser may refuse to play; the picture stands at the moment all the same. */
    video.play().catch(function () {});
  }

  /* A finding as one line with its address, where there is one that others can open. */
  function copyLine(event) {
    var link = event.target.closest("a.copy");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    var known = document.querySelector('link[rel="canonical"]');
    var address = new URL(link.getAttribute("href"), (known || window.location).href).href;
    var text = link.dataset.line + (/^https?:/.test(address) ? " " + address : "");
    var asked = navigator.clipboard ? navigator.clipboard.writeText(text) : Promise.reject();
    asked.then(function () { copied(link); }, function () { offerText(link, text); });
  }

  function copied(link) {
    var label = link.querySelector(".live-only");
    label.textContent = "Copied";
    status.textContent = "Copied: " + link.dataset.line;
    setTimeout(function () { label.textContent = "Copy as one line"; }, 2000);
  }

  /* Where a page may not write to the clipboard, its reader can: the line stands there, selected. */
  function offerText(link, text) {
    var line = document.createElement("textarea");
    line.readOnly = true;
    line.rows = 3;
    line.value = text;
    line.setAttribute("aria-label", "The finding as one line");
    link.after(line);
    line.addEventListener("blur", function () { line.remove(); });
    line.focus();
    line.select();
  }

  var status = document.createElement("p");
  status.className = "unseen";
  status.setAttribute("role", "status");

  document.addEventListener("DOMContentLoaded", function () {
    document.querySelectorAll(".chart").forEach(function (figure) { charts.push(new Chart(figure)); });
    document.querySelectorAll("table.sortable").forEach(makeSortable);
    document.querySelectorAll("form.narrow").forEach(makeNarrowable);
    /* On a phone the list itself comes first. */
    if (!stacked.matches) document.querySelectorAll("details.over").forEach(function (part) { part.open = true; });
    sayRoles();
    if (document.querySelector("a.copy")) document.body.append(status);
    openTarget();
    afterPaint(watch);
  });
  document.addEventListener("click", showMoment);
  document.addEventListener("click", copyLine);
  stacked.addEventListener("change", sayRoles);
  window.addEventListener("hashchange", openTarget);
  window.addEventListener("resize", resized);
  dark.addEventListener("change", redraw);
  window.addEventListener("beforeprint", beforePrint);
  window.addEventListener("afterprint", afterPrint);
})();
