// The charts of every page. A chart that the site has drawn gets a line that reads off its values; the finder, the
// compare page and the charts page draw a scatter of builds and curves over each other, which read off the same way.
// Without this script every chart is there as it was drawn, with its table.
(function () {
  "use strict";

  const SVG = "http://www.w3.org/2000/svg";
  const UNITS_KEY = "millbook-units";
  const LETTERS = "ABCD";

  // Create an SVG element.
  function svg(name, attributes, text) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    return node;
  }

  function element(name, className, text) {
    const node = document.createElement(name);
    if (className) node.className = className;
    if (text !== undefined) node.textContent = text;
    return node;
  }

  // ---- units and numbers -------------------------------------------------------------------------------

  /** @returns {string} the system of units that the reader chose on any page: "inch", "metric", or `otherwise` */
  function chosenUnits(otherwise) {
    try {
      const system = localStorage.getItem(UNITS_KEY);
      return system === "inch" || system === "metric" ? system : otherwise;
    } catch (error) {
      return otherwise; // storage is blocked
    }
  }

  function chooseUnits(system) {
    try {
      localStorage.setItem(UNITS_KEY, system);
    } catch (error) {
      // storage is blocked: the choice holds for this page
    }
  }

  // A number as the pages write it: thousands separated, a true minus.
  function formatted(value, decimals, signed) {
    const [whole, fraction] = Math.abs(value).toFixed(decimals).split(".");
    const digits = whole.replace(/\B(?=(\d{3})+$)/g, ",") + (fraction ? "." + fraction : "");
    return (/[1-9]/.test(digits) ? (value < 0 ? "\u2212" : signed ? "+" : "") : "") + digits;
  }

  const withUnit = (number, unit) => number + (!unit || /^[°:%]/.test(unit) ? unit : "\u00a0" + unit.replace(/ /g, "\u00a0"));

  // ---- data of a chart ---------------------------------------------------------------------------------

  /**
   * Decode the data beside a chart. Numbers are steps from one value to the next in the last digit shown; null is a gap.
   * @returns {{x: {title: string, unit: string, values: number[], at: number},
   *   series: {name: string, note: string, shown: boolean}[],
   *   panels: {title: string, signed: boolean, units: {system: string, label: string, decimals: number}[],
   *     values: (number|null)[][][], half: (number|null)[][][]|null}[],
   *   forms: {width: number, height: number, areas: Object[]}[]}} values by series, unit and place along x
   */
  function decode(data) {
    const sum = (steps, decimals) => {
      let total = 0;
      return steps.map((step) => (step === null ? null : (total += step) / 10 ** decimals));
    };
    return {
      x: { ...data.x, values: sum(data.x.values, 0) },
      series: data.series.map(([name, note, shown]) => ({ name, note, shown: Boolean(shown) })),
      panels: data.panels.map((panel) => {
        const units = panel.units.map(([system, label, decimals]) => ({ system, label, decimals }));
        const all = (values) => values.map((inUnits) => inUnits.map((steps, i) => sum(steps, units[i].decimals)));
        return { title: panel.title, signed: Boolean(panel.signed), units, values: all(panel.values), half: panel.half ? all(panel.half) : null };
      }),
      forms: data.forms.map(([width, height, areas]) => ({
        width, height, areas: areas.map(([left, top, w, h, xLow, xHigh, yLow, yHigh, xAxis]) => (
          { left, top, width: w, height: h, xLow, xHigh, yLow, yHigh, xAxis })),
      })),
    };
  }

  /** @returns {string[]} the value of a series at one place in every unit, the reader's own first; none for a gap */
  function texts(panel, series, index) {
    const system = chosenUnits(panel.units[0].system);
    const order = panel.units.map((unit, i) => i).sort((a, b) => (panel.units[b].system === system) - (panel.units[a].system === system));
    return order.flatMap((i) => {
      const value = panel.values[series][i][index];
      if (value === null) return [];
      const { label, decimals } = panel.units[i];
      const half = panel.half && panel.half[series][i][index];
      const number = formatted(value, decimals, panel.signed) + (half ? " ± " + formatted(half, decimals) : "");
      return [{ number, unit: label, text: withUnit(number, label) }];
    });
  }

  // ---- the line that reads off -------------------------------------------------------------------------

  /**
   * Make an element that is moved by pointer, touch and keys over a chart, and is a slider to a screen reader.
   * @param {{label: string, count: function(): number, index: function(): number, at: function(number, number): number,
   *   text: function(): string, move: function(number), open: (function()|undefined)}} options `at` returns the index
   *   at a place, given as shares of the width and height; `text` says what is read off at the index
   */
  function readingSlider({ label, count, index, at, text, move, open }) {
    const slider = element("div", "mb-slider");
    slider.tabIndex = 0;
    slider.setAttribute("role", "slider");
    slider.setAttribute("aria-label", label);
    const describe = () => {
      slider.setAttribute("aria-valuemin", 0);
      slider.setAttribute("aria-valuemax", Math.max(0, count() - 1));
      slider.setAttribute("aria-valuenow", Math.max(0, index()));
      slider.setAttribute("aria-valuetext", text());
    };
    const go = (to) => {
      if (!(to >= 0)) return;
      move(Math.min(count() - 1, to));
      describe();
    };
    const point = (event) => {
      const box = slider.getBoundingClientRect();
      go(at((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height));
    };
    slider.addEventListener("pointerdown", point);
    slider.addEventListener("pointermove", point);
    slider.addEventListener("keydown", (event) => {
      const last = count() - 1, now = index();
      if (event.key === "Enter" && open) open();
      const to = {
        ArrowRight: now + 1, ArrowUp: now + 1, ArrowLeft: now - 1, ArrowDown: now - 1,
        PageUp: now + 10, PageDown: now - 10, Home: 0, End: last,
      }[event.key];
      if (to === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      go(Math.max(0, Math.min(last, to)));
    });
    describe();
    return { slider, describe, go };
  }

  const FONT = 12, LINE_STEP = 14;

  // Move labels apart from the top down, then push what is below the bottom up again.
  function spread(labels, top, bottom) {
    labels.sort((a, b) => a.y - b.y);
    for (let i = 0; i < labels.length; i++) labels[i].y = Math.max(labels[i].y, i ? labels[i - 1].y + LINE_STEP : top);
    for (let i = labels.length - 1; i >= 0; i--) {
      labels[i].y = Math.min(labels[i].y, i < labels.length - 1 ? labels[i + 1].y - LINE_STEP : bottom);
    }
  }

  /**
   * Let a chart be read off along x: a line with a dot on each curve, and the numbers next to it and in the page.
   * @param {Element} host the element around the drawing alone, which is positioned
   * @param {Object} chart as `decode` returns it; a series may have a `look`: attributes for its numbers
   * @param {function(number, boolean)} show called with each new place, and whether the reader moved the line there
   * @returns {{move: function(number), index: number, refresh: function()}}
   */
  function readOff(host, chart, show) {
    const overlay = svg("svg", { class: "mb-cursor drawing", "aria-hidden": "true" });
    let index = chart.x.at, active = false, form = null;
    const speedText = () => withUnit(formatted(chart.x.values[index], 0), chart.x.unit);
    const shown = () => chart.series.map((series, i) => i).filter((i) => chart.series[i].shown);

    // The drawing has a form for wide and one for narrow screens; the shape of its box tells which is on screen.
    function measure() {
      const ratio = host.clientWidth / (host.clientHeight || 1);
      const distance = ({ width, height }) => Math.abs(Math.log(width / height / ratio));
      const nearest = chart.forms.reduce((best, other) => (distance(other) < distance(best) ? other : best));
      if (nearest !== form) {
        form = nearest;
        overlay.setAttribute("viewBox", `0 0 ${form.width} ${form.height}`);
      }
    }

    function draw() {
      if (!form) return;
      const nodes = [];
      const x = chart.x.values[index];
      form.areas.forEach((area, panelIndex) => {
        const px = area.left + ((x - area.xLow) / (area.xHigh - area.xLow)) * area.width;
        nodes.push(svg("path", { d: `M${px.toFixed(1)} ${area.top}v${area.height}`, class: "mb-cursor-line" }));
        const panel = chart.panels[panelIndex], labels = [];
        for (const series of shown()) {
          const value = panel.values[series][0][index];
          if (value === null) continue;
          const y = area.top + area.height - ((value - area.yLow) / (area.yHigh - area.yLow)) * area.height;
          nodes.push(svg("circle", { cx: px.toFixed(1), cy: y.toFixed(1), r: 3.5, class: "mb-cursor-dot" }));
          const { look } = chart.series[series];
          labels.push({ y: y + 4, look, text: texts(panel, series, index)[0].number });
        }
        if (active && labels.length && labels.length <= 5) {
          spread(labels, area.top + FONT, area.top + area.height - 2);
          const left = px > area.left + area.width * 0.8;
          const place = { x: (px + (left ? -9 : 9)).toFixed(1), "text-anchor": left ? "end" : "start" };
          for (const { y, look, text } of labels) {
            nodes.push(svg("text", { class: "mb-cursor-value", ...place, y: y.toFixed(1), ...look }, text));
          }
        }
        if (panelIndex === form.areas.length - 1) {
          const half = 4 + speedText().length * 3.6, bottom = area.xAxis;
          const middle = Math.max(half, Math.min(form.width - half, px));
          nodes.push(svg("rect", { x: (middle - half).toFixed(1), y: bottom + 3, width: (2 * half).toFixed(1), height: 18, class: "mb-cursor-tag" }),
            svg("text", { x: middle.toFixed(1), y: bottom + 16.5, "text-anchor": "middle", class: "mb-cursor-speed" }, speedText()));
        }
      });
      overlay.replaceChildren(...nodes);
    }

    function description() {
      const parts = shown().map((series) => {
        const values = chart.panels.flatMap((panel) => {
          const [first, second] = texts(panel, series, index).map(({ text }) => text);
          return first ? [`${panel.title} ${first}${second ? ` (${second})` : ""}`] : [];
        });
        const name = chart.series.length > 1 ? chart.series[series].name + ": " : "";
        return name + (values.join(", ") || "not measured at this speed");
      });
      return `${speedText()}. ${parts.join("; ")}`;
    }

    function at(shareX) {
      const { left, width, xLow, xHigh } = form.areas[0];
      const x = xLow + ((shareX * form.width - left) / width) * (xHigh - xLow);
      const values = chart.x.values;
      let best = 0;
      for (let i = 1; i < values.length; i++) if (Math.abs(values[i] - x) < Math.abs(values[best] - x)) best = i;
      return best;
    }

    function place(to, byReader) {
      index = to;
      draw();
      show(index, byReader);
    }

    const { slider, describe } = readingSlider({
      label: `${chart.x.title}: read values off the chart`,
      count: () => chart.x.values.length,
      index: () => index,
      at,
      text: description,
      move: (to) => place(to, true),
    });
    const wake = () => {
      measure();
      if (active) return;
      active = true;
      draw();
    };
    slider.addEventListener("pointerenter", wake, true);
    slider.addEventListener("pointerdown", wake, true);
    slider.addEventListener("focus", wake);
    const rest = () => {
      active = document.activeElement === slider && slider.matches(":focus-visible");
      draw();
    };
    slider.addEventListener("pointerleave", rest);
    slider.addEventListener("blur", rest);
    slider.append(overlay);
    host.append(slider);
    if (globalThis.ResizeObserver) {
      new ResizeObserver(() => {
        measure();
        draw();
      }).observe(host);
    }
    measure();
    draw();
    return {
      get index() {
        return index;
      },
      move(to) {
        place(to, false);
        describe();
      },
      refresh() {
        draw();
        describe();
        show(index, false);
      },
    };
  }

  /** @returns {string} everything that is read off at one place, as a line of text */
  function readingText(chart, index) {
    const at = withUnit(formatted(chart.x.values[index], 0), chart.x.unit);
    const parts = chart.series.flatMap((series, i) => {
      const values = chart.panels.flatMap((panel) => {
        const inUnits = texts(panel, i, index).map(({ text }) => text);
        const title = chart.panels.length > 1 && chart.series.length === 1 ? panel.title + " " : "";
        return inUnits.length ? [title + inUnits.join(" / ")] : [];
      });
      const name = chart.series.length > 1 ? series.name + ": " : "";
      return values.length ? [name + values.join(chart.series.length > 1 ? ", " : " · ")] : [];
    });
    return `At ${at}: ${parts.join("; ") || "not measured"}`;
  }

  // ---- charts that the site has drawn ------------------------------------------------------------------

  function startDrawn(figure) {
    const data = figure.querySelector("script[type='application/json']");
    const host = figure.querySelector(".mb-plot");
    if (!data || !host) return;
    const chart = decode(JSON.parse(data.textContent));
    const line = figure.querySelector(".mb-read-line");
    const rows = [...figure.querySelectorAll("tr[data-series]")];
    const speed = figure.querySelector(".mb-read-speed");
    const heads = [...figure.querySelectorAll("thead th small")];

    function show(index, byReader) {
      if (line && byReader) line.textContent = readingText(chart, index);
      if (speed) speed.textContent = formatted(chart.x.values[index], 0);
      rows.forEach((row) => {
        chart.panels.forEach((panel, i) => {
          const [first, second] = texts(panel, Number(row.dataset.series), index);
          const cell = row.cells[i + 1].firstElementChild;
          cell.textContent = first ? first.number : "–";
          if (second) cell.append(element("small", "", second.text));
          if (first && heads[i]) heads[i].textContent = first.unit;
        });
      });
    }

    function mark(row) {
      const series = chart.series[row.dataset.series];
      row.classList.toggle("mb-off", !series.shown);
      for (const node of host.querySelectorAll(`[data-series="${row.dataset.series}"]`)) node.classList.toggle("mb-off", !series.shown);
    }

    for (const row of rows) {
      const line = row.querySelector(".mb-sample [stroke]");
      if (line) chart.series[row.dataset.series].look = { fill: line.getAttribute("stroke") };
    }
    const reading = readOff(host, chart, show);
    for (const row of rows) {
      const box = row.querySelector("input");
      if (!box) continue;
      box.checked = chart.series[row.dataset.series].shown;
      box.addEventListener("change", () => {
        chart.series[row.dataset.series].shown = box.checked;
        mark(row);
        reading.refresh();
      });
      mark(row);
    }
    show(reading.index, false);
    figure.dataset.ready = "yes";
  }

  // Charts start when they come near the screen; one in closed details when these are opened.
  const drawn = document.querySelectorAll("[data-mb-chart]");
  if (drawn.length && globalThis.IntersectionObserver) {
    const observer = new IntersectionObserver((entries) => {
      for (const { target, isIntersecting } of entries) {
        if (!isIntersecting) continue;
        observer.unobserve(target);
        setTimeout(startDrawn, 0, target); // each in a task of its own
      }
    }, { rootMargin: "1000px" });
    for (const figure of drawn) observer.observe(figure);
  } else drawn.forEach(startDrawn);

  // ---- charts that are drawn here ----------------------------------------------------------------------

  /** @returns {string} which of the axes leave out zero; empty where none does */
  function zeroNote(axes) {
    const names = axes.filter(({ min, max }) => min > 0 || max < 0).map(({ name }) => name);
    if (!names.length) return "";
    return names.length === axes.length ? "Axes do not start at 0" : "Not from 0: " + names.join(", ");
  }

  /**
   * Draw the gridlines and axes of a chart.
   * @param {{width: number, height: number, x: Object, y: Object, note: string}} options size [px]; each axis has min,
   *   max and title
   * @returns {{xScale: function(number): number, yScale: function(number): number, area: Object}} from values to pixels
   */
  function drawAxes(chart, { width, height, x, y, note }) {
    const { ticks } = globalThis.millbook.core;
    const left = 46, right = 14, top = y.title ? 30 : 12, bottom = 38;
    const xScale = (value) => left + ((value - x.min) / (x.max - x.min)) * (width - left - right);
    const yScale = (value) => height - bottom - ((value - y.min) / (y.max - y.min)) * (height - top - bottom);
    const grid = svg("g", { class: "mb-finder-grid" });
    for (const tick of ticks(y.min, y.max, Math.max(3, height / 60))) {
      grid.append(svg("line", { x1: left, x2: width - right, y1: yScale(tick), y2: yScale(tick) }));
      grid.append(svg("text", { x: left - 7, y: yScale(tick) + 4, "text-anchor": "end" }, String(tick)));
    }
    for (const tick of ticks(x.min, x.max, Math.max(3, width / 90))) {
      grid.append(svg("line", { x1: xScale(tick), x2: xScale(tick), y1: height - bottom, y2: height - bottom + 4 }));
      grid.append(svg("text", { x: xScale(tick), y: height - bottom + 17, "text-anchor": "middle" }, String(tick)));
    }
    grid.append(svg("text", { x: width - right, y: height - 4, "text-anchor": "end", class: "mb-finder-axis" }, x.title));
    if (note) grid.append(svg("text", { x: 0, y: height - 4 }, note));
    if (y.title) grid.append(svg("text", { x: 0, y: 13, class: "mb-finder-axis" }, y.title));
    chart.append(grid);
    const area = { left, top, width: width - left - right, height: height - top - bottom, xLow: x.min, xHigh: x.max, yLow: y.min, yHigh: y.max, xAxis: height - bottom };
    return { xScale, yScale, area };
  }

  // The range of an axis: the values with a margin; null without values.
  function axisRange(values, fromZero) {
    let min = Infinity, max = -Infinity;
    for (const value of values) {
      if (value < min) min = value;
      if (value > max) max = value;
    }
    if (!(min <= max)) return null;
    if (fromZero) min = Math.min(0, min);
    if (min === max) {
      const margin = Math.abs(min) * 0.1 || 1;
      return { min: min - margin, max: max + margin };
    }
    const margin = (max - min) * 0.05;
    return { min: fromZero ? min : min - margin, max: max + margin };
  }

  // Marks as the data of one path, which is fast for thousands of them. Of the marks in one cell of a grid of 3 pixels,
  // which would cover each other, one is drawn.
  function marksPath(positions, shape) {
    const cells = new Set();
    let path = "";
    for (const [x, y] of positions) {
      const cell = Math.round(x / 3) * 8192 + Math.round(y / 3);
      if (cells.has(cell)) continue;
      cells.add(cell);
      path += "M" + Math.round(x) + " " + Math.round(y) + shape;
    }
    return path;
  }

  // A dot, a square, a triangle, a diamond, and the same hollow: with four colors they tell eight groups apart.
  const DOT = "h0";
  const SHAPES = ["m-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0z", "m-4-4h8v8h-8z", "m0-5l5 9h-10z", "m0-5l5 5l-5 5l-5-5z"];
  const MAX_GROUPS = 8;

  function remark(text) {
    return element("p", "mb-finder-quiet", text);
  }

  // ---- scatter -----------------------------------------------------------------------------------------

  /** @returns {{label: string, index: number, rows: Set<number>}[]} these rows by a choice, the largest group first */
  function groupsOf(archive, slug, plotted) {
    const codes = slug && archive.codes[slug];
    if (!codes) return [];
    const rowsByCode = new Map();
    for (const row of plotted) {
      if (!rowsByCode.has(codes[row])) rowsByCode.set(codes[row], []);
      rowsByCode.get(codes[row]).push(row);
    }
    const known = [...rowsByCode].filter(([code]) => code >= 0).sort((a, b) => b[1].length - a[1].length || a[0] - b[0]);
    const own = known.slice(0, known.length > MAX_GROUPS ? MAX_GROUPS - 1 : MAX_GROUPS);
    const groups = own.map(([code, rows], index) => ({ label: archive.choices[slug][code], index, rows: new Set(rows) }));
    const others = known.slice(own.length).flatMap(([, rows]) => rows);
    if (others.length) groups.push({ label: "other", index: -1, rows: new Set(others) });
    if (rowsByCode.has(-1)) groups.push({ label: "not recorded", index: -1, rows: new Set(rowsByCode.get(-1)) });
    return groups;
  }

  const groupClass = ({ index }) => (index < 0 ? "mb-group-other" : `mb-group${index % 4}${index >= 4 ? " mb-hollow" : ""}`);
  const groupShape = ({ index }) => SHAPES[index < 0 ? 0 : index % 4];

  /** Make the choice of the field that colors the points; `change` is called after the state has it. */
  function colorSelect(archive, state, change) {
    const label = element("label", ""), select = element("select", "");
    const fields = archive.fields.filter(({ slug, kind }) => kind === "choice" && (archive.choices[slug] || []).length > 1);
    for (const { slug, title } of [{ slug: "", title: "None" }, ...fields]) {
      const option = element("option", "", title);
      option.value = slug;
      select.append(option);
    }
    select.value = state.color;
    select.addEventListener("change", () => {
      state.color = select.value;
      change();
    });
    label.append(element("span", "", "Color by"), select);
    return { node: label, select };
  }

  function groupLegend(groups) {
    const list = element("ul", "mb-chart-legend");
    for (const group of groups) {
      const sample = svg("svg", { width: 14, height: 14, viewBox: "0 0 14 14", "aria-hidden": "true" });
      sample.append(svg("path", { d: "M7 7" + groupShape(group), class: "mb-group " + groupClass(group) }));
      const item = element("li", "");
      item.append(sample, " " + group.label);
      list.append(item);
    }
    return list;
  }

  /**
   * Draw all builds as points. The chart is drawn once for a pair of axes; `update` marks the builds that match.
   * @param {{x: string, y: string, color: string, system: string, width: number, onPoint: function(number),
   *   onOpen: function(number)}} options axes and color as field slugs; `onPoint` is called with the row that is
   *   pointed at, `onOpen` with the one clicked
   * @returns {{update: function(number[], number[]): number}} `update(rows, picks)` returns how many points match
   */
  function scatter(host, archive, options) {
    const { formatValue, inSentence, unitOf } = globalThis.millbook.core;
    const [x, y] = [options.x, options.y].map((slug) => {
      const field = archive.bySlug[slug];
      const unit = unitOf(field, options.system);
      const values = archive.values[slug].map((value) => value * unit.factor);
      return { field, values, title: field.title + (unit.label ? ", " + unit.label : "") };
    });
    const width = Math.max(260, options.width), height = Math.round(Math.min(380, Math.max(230, width * 0.42)));
    const plotted = [];
    for (let row = 0; row < archive.size; row++) {
      if (!Number.isNaN(x.values[row]) && !Number.isNaN(y.values[row])) plotted.push(row);
    }
    host.replaceChildren();
    const xRange = axisRange(plotted.map((row) => x.values[row]));
    const yRange = axisRange(plotted.map((row) => y.values[row]));
    if (!xRange || !yRange) {
      host.append(remark("No build records both " + inSentence(x.field.title) + " and " + inSentence(y.field.title) + "."));
      return { update: () => 0 };
    }
    const frame = element("div", "mb-plot");
    const chart = svg("svg", { width, height, viewBox: `0 0 ${width} ${height}`, class: "mb-finder-scatter", role: "img" });
    const named = [{ name: "y axis", ...yRange }, ...(x.field.slug === "year" ? [] : [{ name: "x axis", ...xRange }])];
    const { xScale, yScale } = drawAxes(chart, {
      width, height, x: { ...xRange, title: x.title }, y: { ...yRange, title: y.title }, note: width < 420 && zeroNote(named) ? "Not from 0" : zeroNote(named),
    });
    const positions = new Array(archive.size).fill(null);
    for (const row of plotted) positions[row] = [xScale(x.values[row]), yScale(y.values[row])];
    const allDots = svg("path", { class: "mb-finder-dots-all", d: marksPath(plotted.map((row) => positions[row]), DOT) });
    const groups = groupsOf(archive, options.color, plotted);
    const groupPaths = groups.map((group) => svg("path", { class: "mb-group " + groupClass(group) }));
    const matchingDots = svg("path", { class: "mb-finder-dots" });
    const pickMarkers = svg("g", { class: "mb-finder-picked" });
    const ring = svg("circle", { r: 8, class: "mb-finder-ring", visibility: "hidden" });
    chart.append(allDots, matchingDots, ...groupPaths, pickMarkers, ring);

    let matching = [], current = -1; // index in `matching`, which is sorted along x; -1 for none
    const select = (index) => {
      current = index;
      ring.setAttribute("visibility", index < 0 ? "hidden" : "visible");
      if (index < 0) return;
      const [cx, cy] = positions[matching[index]];
      ring.setAttribute("cx", cx);
      ring.setAttribute("cy", cy);
      options.onPoint(matching[index]);
    };
    const nearest = (shareX, shareY, limit = 18) => {
      let index = -1, minimum = limit * limit;
      for (let i = 0; i < matching.length; i++) {
        const dx = positions[matching[i]][0] - shareX * width, dy = positions[matching[i]][1] - shareY * height;
        if (dx * dx + dy * dy < minimum) {
          minimum = dx * dx + dy * dy;
          index = i;
        }
      }
      return index;
    };
    const text = () => {
      if (current < 0) return `${matching.length} builds, none selected`;
      const row = matching[current];
      const values = [y, x].map(({ field }) => `${field.title} ${formatValue(field, archive.values[field.slug][row], options.system)}`);
      return `${archive.titles[row]}. ${values.join(", ")}. Enter opens the build`;
    };
    const { slider, describe } = readingSlider({
      label: `${y.title} against ${x.title}: builds from left to right`,
      count: () => matching.length, index: () => current, at: nearest, text, move: select,
      open: () => current >= 0 && options.onOpen(matching[current]),
    });
    let touched = -1;
    slider.addEventListener("pointerdown", () => (touched = current), true);
    slider.addEventListener("click", (event) => {
      const box = slider.getBoundingClientRect();
      const index = nearest((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
      // Touch has no hover: the first tap names the build, the second opens it.
      if (index >= 0 && (event.pointerType !== "touch" || index === touched)) options.onOpen(matching[index]);
    });
    frame.append(chart, slider);
    host.append(frame);
    if (groups.length) host.append(groupLegend(groups));
    return {
      update(rows, picks) {
        matching = Array.from(rows).filter((row) => positions[row]).sort((a, b) => positions[a][0] - positions[b][0] || a - b);
        if (groups.length) {
          groups.forEach((group, i) => {
            const own = matching.filter((row) => group.rows.has(row)).map((row) => positions[row]);
            groupPaths[i].setAttribute("d", marksPath(own, groupShape(group)));
          });
        } else matchingDots.setAttribute("d", marksPath(matching.map((row) => positions[row]), DOT));
        pickMarkers.replaceChildren();
        picks.forEach((row, index) => {
          if (positions[row]) pickMarkers.append(marker(index, ...positions[row]));
        });
        select(-1);
        describe();
        chart.setAttribute("aria-label", `${y.title} against ${x.title}: ${matching.length} builds shown`);
        return matching.length;
      },
    };
  }

  // ---- curves ------------------------------------------------------------------------------------------

  // The letter of a picked build in its color; the letter and the dashes of its line identify it without the color.
  function marker(index, x, y) {
    const group = svg("g", { class: "mb-finder-mark mb-finder-line" + index });
    group.append(svg("circle", { cx: x, cy: y, r: 8 }), svg("text", { x, y: y + 4, "text-anchor": "middle" }, LETTERS[index]));
    return group;
  }

  // The line and letter of a picked build, for the list of picked builds.
  function legendSample(index) {
    const sample = svg("svg", { width: 46, height: 18, viewBox: "0 0 46 18", "aria-hidden": "true" });
    sample.append(svg("path", { d: "M0 9H46", class: "mb-finder-line mb-finder-line" + index }), marker(index, 23, 9));
    return sample;
  }

  const READING_STEP = 50; // [rev/min]

  // The values of lines at every 50 rev/min, between their points by a straight line; null beyond their ends.
  function alongSpeeds(lines) {
    const all = lines.flatMap(({ points }) => [points[0][0], points[points.length - 1][0]]);
    const first = Math.ceil(Math.min(...all) / READING_STEP - 1e-6), last = Math.floor(Math.max(...all) / READING_STEP + 1e-6);
    const speeds = Array.from({ length: Math.max(1, last - first + 1) }, (_, i) => (first + i) * READING_STEP);
    const values = lines.map(({ points }) => speeds.map((speed) => {
      const after = points.findIndex(([x]) => x >= speed - 1e-6);
      if (after < 0 || (after === 0 && points[0][0] > speed + 1e-6)) return null;
      const [x1, y1] = points[after], [x0, y0] = points[Math.max(0, after - 1)];
      return x1 === x0 ? y1 : y0 + ((y1 - y0) * (speed - x0)) / (x1 - x0);
    }));
    return { speeds, values };
  }

  /**
   * Draw one quantity of up to four builds over engine speed.
   * @param {{title: string, unit: {label: string, decimals: number}, system: string, width: number,
   *   lines: {index: number, title: string, points: [number, number][]}[]}} options
   * @param {function(number, Object)} show called with each new place of the line that reads off, and the chart's data
   */
  function curveChart(host, { title, unit, system, lines, width: available }, show) {
    const width = Math.max(250, available), height = Math.round(Math.min(320, Math.max(210, width * 0.5)));
    const xRange = axisRange(lines.flatMap((line) => line.points.map(([x]) => x)));
    const yRange = axisRange(lines.flatMap((line) => line.points.map(([, y]) => y)), true);
    const figure = document.createElement("figure");
    figure.append(element("figcaption", "", `${title}, ${unit.label}`));
    host.append(figure);
    if (!xRange || !yRange) return null;
    const chart = svg("svg", { width, height, viewBox: `0 0 ${width} ${height}`, class: "mb-finder-curves", role: "img" });
    chart.setAttribute("aria-label", `${title}, ${unit.label}. ` + lines.map((line) => {
      const peak = line.points.reduce((a, b) => (b[1] > a[1] ? b : a));
      return `${LETTERS[line.index]}, ${line.title}: peak ${Number(peak[1].toPrecision(3))} at ${Math.round(peak[0])} rpm`;
    }).join("; "));
    const note = zeroNote([{ name: "speed", ...xRange }, { name: title.toLowerCase(), ...yRange }]);
    const { xScale, yScale, area } = drawAxes(chart, { width, height, x: { ...xRange, title: "rpm" }, y: yRange, note });
    for (const { index, points } of lines) {
      const d = points.map(([x, y], i) => (i ? "L" : "M") + xScale(x).toFixed(1) + " " + yScale(y).toFixed(1)).join("");
      chart.append(svg("path", { d, class: "mb-finder-line mb-finder-line" + index }));
    }
    // The letters are spread along the lines, so that they do not cover each other.
    lines.forEach(({ index, points }, order) => {
      const share = (order + 1) / (lines.length + 1);
      const [x, y] = points[Math.round(share * (points.length - 1))];
      chart.append(marker(index, xScale(x), yScale(y)));
    });
    const frame = element("div", "mb-plot");
    frame.append(chart);
    figure.append(frame);
    const { speeds, values } = alongSpeeds(lines);
    const data = {
      x: { title: "Engine speed", unit: "rpm", values: speeds, at: Math.floor(speeds.length / 2) },
      series: lines.map(({ index }) => ({
        name: LETTERS[index], note: "", shown: true, look: { class: "mb-cursor-value mb-finder-text mb-finder-line" + index },
      })),
      panels: [{ title, signed: false, units: [{ system, ...unit }], values: values.map((along) => [along]), half: null }],
      forms: [{ width, height, areas: [area] }],
    };
    return { data, reading: readOff(frame, data, (index, byReader) => show(index, byReader)) };
  }

  /**
   * Draw torque and power of the picked builds, as they are or per litre; both are read off together.
   * @param {{system: string, perLitre: boolean, width: number}} options
   */
  function curvePair(host, archive, picks, { system, perLitre, width }) {
    const { curveOf, unitOf } = globalThis.millbook.core;
    host.replaceChildren();
    const torqueUnit = unitOf(archive.bySlug.peak_torque, system);
    const powerUnit = unitOf(archive.bySlug.peak_power, system);
    const torqueLines = [], powerLines = [], missing = [];
    picks.forEach((row, index) => {
      const curve = curveOf(archive, row);
      const litres = archive.values.displacement[row] * 1000;
      if (!curve || (perLitre && !(litres > 0))) {
        missing.push(archive.titles[row]);
        return;
      }
      const divisor = perLitre ? litres : 1;
      const line = (value) => ({
        index, title: archive.titles[row],
        points: curve.speed.map((speed, i) => [speed * 60, value(speed, curve.torque[i]) / divisor]),
      });
      torqueLines.push(line((speed, torque) => torque * torqueUnit.factor));
      powerLines.push(line((speed, torque) => 2 * Math.PI * speed * torque * powerUnit.factor));
    });
    if (torqueLines.length) {
      const chartWidth = width >= 620 ? (width - 24) / 2 : width;
      const perUnit = ({ label, decimals }) => ({ label: label + (perLitre ? " per liter" : ""), decimals: decimals + (perLitre ? 1 : 0) });
      const line = element("p", "mb-read-line", "Point at a curve, or use the arrow keys, to read values");
      const charts = [];
      const show = (index, byReader) => {
        if (!byReader) return;
        for (const one of charts) if (one.reading.index !== index) one.reading.move(index);
        const [torque, power] = charts.map(({ data }) => data);
        line.textContent = readingText({ ...torque, panels: [...torque.panels, ...power.panels] }, index);
      };
      charts.push(curveChart(host, { lines: torqueLines, title: "Torque", unit: perUnit(torqueUnit), system, width: chartWidth }, show));
      charts.push(curveChart(host, { lines: powerLines, title: "Power", unit: perUnit(powerUnit), system, width: chartWidth }, show));
      host.append(line);
    }
    if (missing.length) host.append(remark("No curve recorded for " + missing.join(", ") + "."));
  }

  globalThis.millbook = Object.assign(globalThis.millbook || {}, {
    charts: { scatter, curvePair, legendSample, chosenUnits, chooseUnits, colorSelect },
  });
})();
