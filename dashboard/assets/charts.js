/* Charts in step: those with an axis in common zoom together, and one moment of the drive is marked
   in all charts over time and on the path. */
(function () {
  "use strict";
  let moment = null; // seconds into the drive
  let between = null; // the stretch at hand, none for the whole drive
  let view = {subject: null, chart: null, manoeuvre: ""};
  let round = 0; // goes up when everything has to be drawn anew
  let changed = {}; // of each subject: in which version of the drive its charts last changed
  let settling = 0; // relayouts of our own that are under way
  let fetching = null;
  let sought = null; // a chart to go to once it stands

  const all = (what, within) => Array.from((within || document).querySelectorAll(what));
  const drawn = (within) => all(".js-plotly-plot", within)
    .filter((one) => one._fullLayout && one.layout && one.layout.meta);
  const pane = (subject) => all(".pane").find((one) => one.dataset.pane === subject);
  const charts = () => all(".pane:not(.away)").flatMap(drawn);
  const overTime = () => charts().filter((one) => one.layout.meta.over_time);
  const xAxis = (chart) => chart._fullLayout.xaxis;
  const whole = () => {
    const ends = overTime().map((one) => one.layout.meta.whole);
    return [Math.min(...ends.map((end) => end[0])), Math.max(...ends.map((end) => end[1]))];
  };

  // --- zooming ---------------------------------------------------------------------------------

  function move(chart, ends) {
    settling += 1;
    const done = () => { settling -= 1; mark(); };
    window.Plotly.relayout(chart, {"xaxis.range": ends.slice()}).then(done, done);
  }

  function remember(ends) {
    const [low, high] = whole();
    between = ends[0] <= low && ends[1] >= high ? null : ends.slice();
  }

  function zoomTo(ends) {
    overTime().forEach((chart) => move(chart, ends));
    remember(ends);
  }

  function moved(chart, change) {
    const ends = change["xaxis.range"] || [change["xaxis.range[0]"], change["xaxis.range[1]"]];
    if (settling || !chart.layout.meta.shared || ends[0] === undefined) {
      return;
    }
    charts().forEach((other) => {
      if (other !== chart && other.layout.meta.shared === chart.layout.meta.shared) {
        move(other, ends);
      }
    });
    if (chart.layout.meta.over_time) {
      remember(ends);
    }
    mark();
  }

  function wholeAgain(chart) {
    const shared = chart.layout.meta.shared;
    if (chart.layout.meta.over_time) {
      zoomTo(whole());
      return;
    }
    charts().forEach((other) => {
      if (other === chart || (shared && other.layout.meta.shared === shared)) {
        const panels = Object.keys(other.layout).filter((name) => /^yaxis/.test(name));
        const change = {"xaxis.range": other.layout.meta.whole.slice()};
        panels.forEach((name, k) => {
          const first = other.layout.meta.heights && other.layout.meta.heights[k];
          if (first) { change[name + ".range"] = first.slice(); }
        });
        settling += 1;
        const done = () => { settling -= 1; };
        window.Plotly.relayout(other, change).then(done, done);
      }
    });
  }

  function step(how) {
    const first = overTime()[0];
    if (!first) {
      return;
    }
    const [start, end] = xAxis(first).range, width = end - start, [low, high] = whole();
    const middle = moment !== null && moment > start && moment < end ? moment : (start + end) / 2;
    let ends = {
      closer: [middle - width / 4, middle + width / 4],
      wider: [middle - width, middle + width],
      earlier: [start - width / 2, end - width / 2],
      later: [start + width / 2, end + width / 2],
      whole: [low, high],
    }[how];
    const length = Math.min(Math.max(ends[1] - ends[0], 2), high - low);
    if (ends[1] - ends[0] < length) {
      ends = [middle - length / 2, middle + length / 2];
    }
    const at = Math.min(Math.max(ends[0], low), high - length);
    zoomTo([at, at + length]);
  }

  // --- the moment ------------------------------------------------------------------------------

  function clock(seconds) {
    const tenths = Math.round(seconds * 10), rest = (tenths % 600) / 10;
    const minutes = Math.floor(tenths / 600) % 60, hours = Math.floor(tenths / 36000);
    const last = (rest < 10 ? "0" : "") + rest.toFixed(1);
    return hours ? hours + ":" + String(minutes).padStart(2, "0") + ":" + last : minutes + ":" + last;
  }

  function rowBefore(times, at) { // the last row that is not later; gaps are null
    let low = 0, high = times.length - 1;
    while (low < high) {
      let middle = (low + high + 1) >> 1;
      let known = middle;
      while (known > low && times[known] === null) { known -= 1; }
      if (times[known] <= at) { low = middle; } else { high = known > low ? known - 1 : low; }
    }
    return low;
  }

  function valueAt(trace, at) {
    const k = rowBefore(trace.x, at), y0 = trace.y[k], y1 = trace.y[k + 1];
    if (y0 === null || y0 === undefined) {
      return null;
    }
    if (trace.line && trace.line.shape === "hv" || y1 === null || y1 === undefined) {
      return y0;
    }
    const share = (at - trace.x[k]) / (trace.x[k + 1] - trace.x[k] || 1);
    return y0 + (y1 - y0) * Math.min(Math.max(share, 0), 1);
  }

  function told(trace, at) {
    const value = valueAt(trace, at), how = trace.meta;
    if (value === null) {
      return "";
    }
    const label = (how.labels || {})[String(Math.round(value))];
    const size = Math.abs(value), figures = size >= 100 ? 0 : size >= 10 ? 1 : 2;
    const unit = how.unit && how.unit !== "min:s" ? " " + how.unit : "";
    return how.title + " " + (label !== undefined ? label : value.toFixed(figures) + unit);
  }

  function sayMoment() {
    const bar = document.querySelector(".pane:not(.away) .moment");
    if (!bar || !bar.firstChild || moment === null) {
      return;
    }
    const parts = [clock(moment)], seen = {};
    const add = (text) => { if (text && !seen[text]) { seen[text] = true; parts.push(text); } };
    overTime().forEach((chart) => {
      chart.layout.meta.spans.forEach((span) => {
        if (span[0] <= moment && moment <= span[1]) { add(span[2]); }
      });
    });
    overTime().forEach((chart) => chart.data.forEach((trace) => {
      if (trace.meta && trace.meta.title) { add(told(trace, moment)); }
    }));
    document.querySelector(".pane:not(.away) .told").textContent = parts.join("  ·  ");
    const slider = bar.querySelector("input");
    slider.setAttribute("aria-valuetext", parts.slice(0, 4).join(", "));
    if (document.activeElement !== slider) { slider.value = moment; }
  }

  function marker(chart, kind) {
    let found = chart.querySelector(":scope > .cursor");
    if (!found) {
      found = document.createElement("div");
      found.className = "cursor " + kind;
      found.setAttribute("aria-hidden", "true");
      chart.appendChild(found);
    }
    return found;
  }

  function mark() {
    if (moment === null) {
      return;
    }
    charts().forEach((chart) => {
      const x = xAxis(chart), path = chart.data.find((trace) => trace.customdata);
      if (chart.layout.meta.over_time) {
        const line = marker(chart, "line"), at = x.d2p(moment), size = chart._fullLayout._size;
        line.hidden = !(at >= 0 && at <= x._length);
        line.style.transform = "translateX(" + (x._offset + at) + "px)";
        line.style.top = size.t + "px";
        line.style.height = size.h + "px";
      } else if (path) {
        const y = chart._fullLayout.yaxis, k = rowBefore(path.customdata, moment);
        const dot = marker(chart, "dot"), left = x.d2p(path.x[k]), top = y.d2p(path.y[k]);
        dot.hidden = path.x[k] === null || !(left >= 0 && left <= x._length && top >= 0 && top <= y._length);
        dot.style.transform = "translate(" + (x._offset + left) + "px," + (y._offset + top) + "px)";
      }
    });
    sayMoment();
  }

  function setMoment(at) {
    const [low, high] = whole();
    moment = Math.min(Math.max(at, low), high);
    window.requestAnimationFrame(mark);
  }

  function point(chart, event) {
    const box = chart.getBoundingClientRect(), x = xAxis(chart);
    const px = event.clientX - box.left - x._offset;
    if (chart.layout.meta.over_time) {
      if (px >= 0 && px <= x._length) { setMoment(x.p2d(px)); }
      return;
    }
    const path = chart.data.find((trace) => trace.customdata);
    if (!path || !overTime().length) {
      return;
    }
    const y = chart._fullLayout.yaxis, py = event.clientY - box.top - y._offset;
    let best = 900, at = null; // within 30 pixels
    for (let k = 0; k < path.x.length; k += 1) {
      if (path.x[k] !== null) {
        const far = (x.d2p(path.x[k]) - px) ** 2 + (y.d2p(path.y[k]) - py) ** 2;
        if (far < best) { best = far; at = path.customdata[k]; }
      }
    }
    if (at !== null) { setMoment(at); }
  }

  // --- what stands above charts over time ------------------------------------------------------

  function element(kind, parts, text) {
    const made = document.createElement(kind);
    Object.entries(parts).forEach(([name, value]) => made.setAttribute(name, value));
    if (text) { made.textContent = text; }
    return made;
  }

  function furnish(bar) {
    const [low, high] = whole();
    const slider = element("input", {type: "range", id: "moment-" + bar.parentNode.dataset.pane, min: low, max: high, step: "0.1"});
    slider.addEventListener("input", () => setMoment(Number(slider.value)));
    slider.addEventListener("keydown", (event) => { // a second at a press, not a tenth
      const by = {ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1}[event.key];
      if (by) {
        event.preventDefault();
        slider.value = Number(slider.value) + by * (event.shiftKey ? 0.1 : 1);
        setMoment(Number(slider.value));
      }
    });
    const buttons = element("div", {class: "steps", role: "group", "aria-label": "Stretch of the drive shown"});
    [["closer", "Closer", "Closer"], ["wider", "Wider", "Wider"], ["earlier", "◂", "Earlier"],
      ["later", "▸", "Later"], ["whole", "All", "All of the drive"]].forEach(([how, text, says]) => {
      const button = element("button", {type: "button", "data-step": how, "aria-label": says, title: says}, text);
      button.addEventListener("click", () => step(how));
      buttons.appendChild(button);
    });
    bar.append(element("label", {for: slider.id}, "Moment"), slider, buttons);
    bar.nextSibling.textContent = "Point at a chart, or move the slider, to read off a moment.";
    if (moment === null) { slider.value = low; }
  }

  function attach(chart) {
    chart.dataset.inStep = "yes";
    chart.on("plotly_relayout", (change) => moved(chart, change));
    // Plotly ends a double click with a change of its own, of nothing; ours comes after it.
    chart.on("plotly_doubleclick", () => window.setTimeout(() => wholeAgain(chart), 50));
    chart.on("plotly_afterplot", () => mark());
    chart.addEventListener("pointermove", (event) => {
      if (event.pointerType === "mouse") { point(chart, event); }
    });
    chart.addEventListener("click", (event) => point(chart, event));
  }

  // --- which charts are there ------------------------------------------------------------------

  const key = (place, manoeuvre) =>
    [round, changed[place.dataset.pane] || 1, manoeuvre].join(" ");

  function want(place, manoeuvre) { // ask the server for the charts of a subject
    const wanted = key(place, manoeuvre);
    if (place.dataset.wanted === wanted) {
      return;
    }
    place.dataset.wanted = wanted;
    const asked = {manoeuvre: manoeuvre, between: between, round: wanted};
    window.dash_clientside.set_props({type: "want", subject: place.dataset.pane}, {data: asked});
  }

  function open(subject, chart, manoeuvre) {
    const place = pane(subject);
    if (!place) {
      return;
    }
    view = {subject: subject, chart: chart || null, manoeuvre: manoeuvre || ""};
    window.dash_clientside.set_props("view", {data: view});
    all(".views button").forEach((one) =>
      one.setAttribute("aria-pressed", String(one.dataset.subject === subject)));
    all(".pane").forEach((one) => one.classList.toggle("away", one !== place));
    want(place, view.manoeuvre);
    keepStretch();
    furnishAll();
    mark();
    if (chart) { goTo(chart); }
  }

  function keepStretch() { // charts drawn before somebody zoomed follow now
    const ends = between || (overTime().length ? whole() : null);
    overTime().forEach((chart) => {
      const now = xAxis(chart).range;
      if (Math.abs(now[0] - ends[0]) + Math.abs(now[1] - ends[1]) > 0.01 && !view.manoeuvre) {
        move(chart, ends);
      }
    });
  }

  function goTo(chart) { // as soon as it stands
    const place = document.getElementById("chart-" + chart);
    if (!place) {
      sought = chart;
      return;
    }
    sought = null;
    place.scrollIntoView({block: "start"});
    place.focus({preventScroll: true});
  }

  function warm() { // draw what nobody has asked for yet, one subject at a time
    const current = view.subject && pane(view.subject);
    if (!current || !ready(current)) {
      return;
    }
    const next = all(".pane").find((one) => one.dataset.wanted !== key(one, one === current ? view.manoeuvre : ""));
    const busy = all(".pane").some((one) => one.dataset.wanted && !ready(one));
    if (next && !busy) { want(next, ""); }
  }

  function ready(place) {
    const graphs = all(".graph", place);
    return graphs.length > 0 && graphs.every((one) => one.querySelector(".main-svg"));
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-subject]");
    if (button) { open(button.dataset.subject, button.dataset.chart, button.dataset.manoeuvre); }
  });

  window.addEventListener("roadtest-changed", (event) => {
    if (event.detail) { changed = event.detail; } else { round += 1; }
    const current = view.subject && pane(view.subject);
    if (current) { want(current, view.manoeuvre); }
  });

  function furnishAll() {
    const bar = document.querySelector(".pane:not(.away) .moment");
    if (bar && !bar.firstChild && overTime().length) {
      furnish(bar);
      mark();
    }
  }

  function tabulate(place) { // a chart's figures, once somebody wants them
    JSON.parse(place.dataset.tables).forEach((one) => {
      const table = element("table", {}), wide = element("div", {class: "wide"});
      table.appendChild(element("caption", {}, one.caption));
      one.rows.forEach((cells, k) => {
        const row = element("tr", {});
        cells.forEach((text, n) => row.appendChild(k && n ? element("td", {}, text)
          : element("th", {scope: k ? "row" : "col"}, text)));
        table.appendChild(row);
      });
      wide.appendChild(table);
      place.appendChild(wide);
    });
    delete place.dataset.tables;
  }
  document.addEventListener("toggle", (event) => {
    if (event.target.matches(".numbers[open][data-tables]")) { tabulate(event.target); }
  }, true);

  function fetchPaper() { // pictures for print, once everything else is there
    all(".pane img[data-src]").forEach((image) => {
      if (image.getAttribute("src") !== image.dataset.src) {
        image.setAttribute("src", image.dataset.src);
      }
    });
  }

  function lookAfter() {
    const places = all(".pane");
    if (places.length && !places.some((one) => one.dataset.wanted)) { // a drive has just come
      between = null;
      moment = null;
      changed = {};
      open(places[0].dataset.pane);
    }
    all(".pane").flatMap(drawn).filter((one) => !one.dataset.inStep && one.on).forEach((chart) => {
      attach(chart);
      if (view.manoeuvre && chart.layout.meta.over_time && charts().includes(chart)) {
        remember(xAxis(chart).range);
      }
    });
    furnishAll();
    if (sought) { goTo(sought); }
    window.clearTimeout(fetching);
    fetching = window.setTimeout(() => { fetchPaper(); warm(); }, 600);
  }

  let waiting = false;
  new MutationObserver(() => {
    if (!waiting) {
      waiting = true;
      window.requestAnimationFrame(() => { waiting = false; lookAfter(); });
    }
  }).observe(document.documentElement, {childList: true, subtree: true});
  window.addEventListener("beforeprint", () => { // on paper nothing can be opened
    fetchPaper();
    all("#body details:not([open]):not(.numbers)").forEach((one) => {
      one.open = true;
      one.dataset.opened = "for print";
    });
  });
  window.addEventListener("afterprint", () => all("details[data-opened]").forEach((one) => {
    one.open = false;
    delete one.dataset.opened;
  }));
})();
