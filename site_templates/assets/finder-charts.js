// The finder's two charts, as SVG elements: a scatter of all builds, and curves over each other.
(function () {
  "use strict";

  const SVG = "http://www.w3.org/2000/svg";
  const { curveOf, inSentence, ticks, unitOf } = globalThis.millbook.core;

  // Create an SVG element.
  function svg(name, attributes, text) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    return node;
  }

  /**
   * Draw the gridlines and axes of a chart.
   * @param {{width: number, height: number, x: Object, y: Object}} options size [px]; each axis has min, max and title
   * @returns {{xScale: function(number): number, yScale: function(number): number}} from values to pixels
   */
  function drawAxes(chart, { width, height, x, y }) {
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
    if (y.title) grid.append(svg("text", { x: 0, y: 13, class: "mb-finder-axis" }, y.title));
    chart.append(grid);
    return { xScale, yScale };
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

  // Dots as the data of one path, which is fast for thousands of them. Of the dots in one cell of a grid of 3 pixels,
  // which would cover each other, one is drawn.
  function dotsPath(positions) {
    const cells = new Set();
    let path = "";
    for (const [x, y] of positions) {
      const cell = Math.round(x / 3) * 8192 + Math.round(y / 3);
      if (cells.has(cell)) continue;
      cells.add(cell);
      path += "M" + Math.round(x) + " " + Math.round(y) + "h0";
    }
    return path;
  }

  function remark(text) {
    const paragraph = document.createElement("p");
    paragraph.className = "mb-finder-quiet";
    paragraph.textContent = text;
    return paragraph;
  }

  // ---- scatter -----------------------------------------------------------------------------------------

  /**
   * Draw all builds as dots. The chart is drawn once for a pair of axes; `update` marks the builds that match.
   * @param {{x: string, y: string, system: string, width: number, onPoint: function(number), onOpen: function(number)}}
   *   options axes as field slugs; `onPoint` is called with the row under the pointer, `onOpen` with the one clicked
   * @returns {{update: function(number[], number[]): number}} `update(rows, picks)` returns how many dots match
   */
  function scatter(host, archive, options) {
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
    const chart = svg("svg", { width, height, viewBox: `0 0 ${width} ${height}`, class: "mb-finder-scatter", role: "img", tabindex: 0 });
    const { xScale, yScale } = drawAxes(chart, {
      width, height, x: { ...xRange, title: x.title }, y: { ...yRange, title: y.title },
    });
    const positions = new Array(archive.size).fill(null);
    for (const row of plotted) positions[row] = [xScale(x.values[row]), yScale(y.values[row])];
    const allDots = svg("path", { class: "mb-finder-dots-all", d: dotsPath(plotted.map((row) => positions[row])) });
    const matchingDots = svg("path", { class: "mb-finder-dots" });
    const pickMarkers = svg("g", { class: "mb-finder-picked" });
    const ring = svg("circle", { r: 8, class: "mb-finder-ring", visibility: "hidden" });
    chart.append(allDots, matchingDots, pickMarkers, ring);
    host.append(chart);

    let matching = [], sortedByX = false;
    let current = -1; // index in `matching`; -1 for none
    const select = (index) => {
      current = index;
      ring.setAttribute("visibility", index < 0 ? "hidden" : "visible");
      if (index < 0) return;
      const [cx, cy] = positions[matching[index]];
      ring.setAttribute("cx", cx);
      ring.setAttribute("cy", cy);
      options.onPoint(matching[index]);
    };
    const nearest = (event) => {
      const box = chart.getBoundingClientRect();
      const pointerX = event.clientX - box.left, pointerY = event.clientY - box.top;
      let index = -1, minimum = 18 * 18;
      for (let i = 0; i < matching.length; i++) {
        const dx = positions[matching[i]][0] - pointerX, dy = positions[matching[i]][1] - pointerY;
        if (dx * dx + dy * dy < minimum) {
          minimum = dx * dx + dy * dy;
          index = i;
        }
      }
      return index;
    };
    chart.addEventListener("pointermove", (event) => select(nearest(event)));
    chart.addEventListener("click", (event) => {
      const index = nearest(event);
      if (index < 0) return;
      // Touch has no hover: the first tap names the build, the second opens it.
      if (event.pointerType === "touch" && index !== current) select(index);
      else options.onOpen(matching[index]);
    });
    chart.addEventListener("keydown", (event) => {
      if (event.key === "Enter" && current >= 0) options.onOpen(matching[current]);
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step || !matching.length) return;
      event.preventDefault();
      if (!sortedByX) matching.sort((a, b) => positions[a][0] - positions[b][0] || a - b);
      sortedByX = true;
      select((current + step + matching.length) % matching.length);
    });
    return {
      update(rows, picks) {
        matching = Array.from(rows).filter((row) => positions[row]);
        sortedByX = false;
        matchingDots.setAttribute("d", dotsPath(matching.map((row) => positions[row])));
        pickMarkers.replaceChildren();
        picks.forEach((row, index) => {
          if (positions[row]) pickMarkers.append(marker(index, ...positions[row]));
        });
        select(-1);
        chart.setAttribute("aria-label", `${y.title} against ${x.title}: ` +
          `${matching.length} builds shown. Left and right arrows go from build to build, Enter opens one.`);
        return matching.length;
      },
    };
  }

  // ---- curves ------------------------------------------------------------------------------------------

  const LETTERS = "ABCD";

  // The letter of a picked build in its colour; the letter and the dashes of its line identify it without the colour.
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

  /**
   * Draw one quantity of up to four builds over engine speed.
   * @param {{title: string, width: number, lines: {index: number, title: string, points: [number, number][]}[]}} options
   */
  function curveChart(host, { title, lines, width: available }) {
    const width = Math.max(250, available), height = Math.round(Math.min(320, Math.max(210, width * 0.5)));
    const xRange = axisRange(lines.flatMap((line) => line.points.map(([x]) => x)));
    const yRange = axisRange(lines.flatMap((line) => line.points.map(([, y]) => y)), true);
    const figure = document.createElement("figure");
    const caption = document.createElement("figcaption");
    caption.textContent = title;
    figure.append(caption);
    host.append(figure);
    if (!xRange || !yRange) return;
    const chart = svg("svg", { width, height, viewBox: `0 0 ${width} ${height}`, class: "mb-finder-curves", role: "img" });
    chart.setAttribute("aria-label", title + ". " + lines.map((line) => {
      const peak = line.points.reduce((a, b) => (b[1] > a[1] ? b : a));
      return `${LETTERS[line.index]}, ${line.title}: most ${Number(peak[1].toPrecision(3))} at ${Math.round(peak[0])}`;
    }).join("; "));
    const { xScale, yScale } = drawAxes(chart, { width, height, x: { ...xRange, title: "rpm" }, y: yRange });
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
    figure.append(chart);
  }

  /**
   * Draw torque and power of the picked builds, as they are or per litre.
   * @param {{system: string, perLitre: boolean, width: number}} options
   */
  function curvePair(host, archive, picks, { system, perLitre, width }) {
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
    const suffix = perLitre ? " per liter" : "";
    if (torqueLines.length) {
      const chartWidth = width >= 620 ? (width - 24) / 2 : width;
      curveChart(host, { lines: torqueLines, title: `Torque, ${torqueUnit.label}${suffix}`, width: chartWidth });
      curveChart(host, { lines: powerLines, title: `Power, ${powerUnit.label}${suffix}`, width: chartWidth });
    }
    if (missing.length) host.append(remark("No curve recorded for " + missing.join(", ") + "."));
  }

  globalThis.millbook = Object.assign(globalThis.millbook || {}, { charts: { scatter, curvePair, legendSample } });
})();
