/* Draws each chart when it nears the screen; without this script all sentences and tables are there. */
(function () {
  "use strict";
  var root = document.documentElement;
  root.classList.add("js");
  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  var touch = window.matchMedia("(pointer: coarse)").matches;
  var printing = false;
  var charts = [];
  var wanted = [];

  function Chart(figure) {
    this.figure = figure;
    this.plot = figure.querySelector(".plot");
    this.text = figure.querySelector('script[type="application/json"]').textContent;
    this.drawn = false;
    this.plot.style.minHeight = this.plot.dataset.height + "px";
  }

  Chart.prototype.content = function () {
    var bundle = JSON.parse(this.text);
    if (dark.matches && !printing) {
      var text = this.text;
      Object.keys(bundle.dark).forEach(function (light) {
        text = text.replace(new RegExp(light, "gi"), bundle.dark[light]);
      });
      /* The exchange has turned the table of partners itself; only data and layout are used. */
      bundle = JSON.parse(text);
    }
    var layout = bundle.layout;
    layout.autosize = true;
    delete layout.width;
    if (this.plot.clientWidth < 440) {
      (layout.annotations || []).forEach(function (note) {
        if (note.font && note.font.size > 11) note.font.size = 11;
      });
    }
    if (touch) {
      /* A finger on a chart scrolls the page. */
      layout.dragmode = false;
      Object.keys(layout).forEach(function (name) {
        if (/^[xy]axis/.test(name)) layout[name].fixedrange = true;
      });
    }
    return { data: bundle.data, layout: layout, config: bundle.config };
  };

  Chart.prototype.draw = function () {
    var content = this.content();
    this.drawn = true;
    this.plot.setAttribute("aria-busy", "true");
    var plot = this.plot;
    window.Plotly.react(plot, content.data, content.layout, content.config).then(function () {
      plot.removeAttribute("aria-busy");
      plot.classList.add("drawn");
    });
  };

  function drawWanted() {
    if (!window.Plotly) return;
    wanted.splice(0).forEach(function (chart) {
      if (!chart.drawn) chart.draw();
    });
  }

  function want(chart) {
    wanted.push(chart);
    drawWanted();
  }

  function load() {
    var source = document.body.dataset.charts;
    if (!source || !charts.length) return;
    performance.mark("charts-script-asked-for");
    var script = document.createElement("script");
    script.src = source;
    script.onload = drawWanted;
    script.onerror = function () {
      root.classList.remove("js");
      root.classList.add("no-charts");
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

  function watch() {
    var seen = new IntersectionObserver(function (entries) {
      entries.forEach(function (entry) {
        if (!entry.isIntersecting) return;
        seen.unobserve(entry.target);
        want(charts.filter(function (chart) { return chart.figure === entry.target; })[0]);
      });
    }, { rootMargin: "600px 0px" });
    charts.forEach(function (chart) { seen.observe(chart.figure); });
  }

  function redraw() {
    if (window.Plotly) charts.forEach(function (chart) { if (chart.drawn) chart.draw(); });
  }

  function beforePrint() {
    printing = true;
    document.querySelectorAll("main details:not([open])").forEach(function (part) {
      part.dataset.opened = "for print";
      part.open = true;
    });
    if (window.Plotly) charts.forEach(function (chart) { chart.draw(); });
  }

  function afterPrint() {
    printing = false;
    document.querySelectorAll("details[data-opened]").forEach(function (part) {
      part.open = false;
      delete part.dataset.opened;
    });
    redraw();
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

  document.addEventListener("DOMContentLoaded", function () {
    document.querySelectorAll("figure.chart").forEach(function (figure) { charts.push(new Chart(figure)); });
    document.querySelectorAll("table.sortable").forEach(makeSortable);
    watch();
    openTarget();
    afterPaint(load);
  });
  document.addEventListener("click", showMoment);
  window.addEventListener("hashchange", openTarget);
  dark.addEventListener("change", redraw);
  window.addEventListener("beforeprint", beforePrint);
  window.addEventListener("afterprint", afterPrint);
})();
