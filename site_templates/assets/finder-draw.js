// The finder's two drawings, made of SVG elements: points of all builds, and curves drawn over each other.
(function () {
  "use strict";

  const SVG = "http://www.w3.org/2000/svg";
  const { ticks, unitOf } = globalThis.millbook.core;

  function svg(name, attributes, text) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    return node;
  }

  // A frame with axes: where to draw, and how values become places.
  function frame(box, opts) {
    const { width, height, x, y } = opts;
    const left = 46, right = 14, top = y.title ? 30 : 12, bottom = 38;
    const at = (v) => left + ((v - x.least) / (x.most - x.least)) * (width - left - right);
    const up = (v) => height - bottom - ((v - y.least) / (y.most - y.least)) * (height - top - bottom);
    const grid = svg("g", { class: "mb-finder-grid" });
    for (const tick of ticks(y.least, y.most, Math.max(3, height / 60))) {
      grid.append(svg("line", { x1: left, x2: width - right, y1: up(tick), y2: up(tick) }));
      grid.append(svg("text", { x: left - 7, y: up(tick) + 4, "text-anchor": "end" }, String(tick)));
    }
    for (const tick of ticks(x.least, x.most, Math.max(3, width / 90))) {
      grid.append(svg("line", { x1: at(tick), x2: at(tick), y1: height - bottom, y2: height - bottom + 4 }));
      grid.append(svg("text", { x: at(tick), y: height - bottom + 17, "text-anchor": "middle" }, String(tick)));
    }
    grid.append(svg("text", { x: width - right, y: height - 4, "text-anchor": "end", class: "mb-finder-axis" }, x.title));
    if (y.title) grid.append(svg("text", { x: 0, y: 13, class: "mb-finder-axis" }, y.title));
    box.append(grid);
    return { at, up };
  }

  // Least and most of some values with a little air; null when there is nothing to show.
  function extent(values, fromZero) {
    let least = Infinity, most = -Infinity;
    for (const v of values) {
      if (v < least) least = v;
      if (v > most) most = v;
    }
    if (!(least <= most)) return null;
    if (fromZero) least = Math.min(0, least);
    if (least === most) {
      const room = Math.abs(least) * 0.1 || 1;
      return { least: least - room, most: most + room };
    }
    const air = (most - least) * 0.05;
    return { least: fromZero ? least : least - air, most: most + air };
  }

  // Dots as one path: thousands of them cost little more than one line. Of dots that would cover each other
  // (on one place of a grid of 3 pixels) one is drawn.
  function dots(places) {
    const taken = new Set();
    let out = "";
    for (const [x, y] of places) {
      const cell = Math.round(x / 3) * 8192 + Math.round(y / 3);
      if (taken.has(cell)) continue;
      taken.add(cell);
      out += "M" + Math.round(x) + " " + Math.round(y) + "h0";
    }
    return out;
  }

  // ---- points ------------------------------------------------------------------------------------------

  // A scatter that is made once for a pair of axes and then only told which builds match.
  function scatter(host, archive, opts) {
    const fieldX = archive.bySlug[opts.x], fieldY = archive.bySlug[opts.y];
    const unitX = unitOf(fieldX, opts.system), unitY = unitOf(fieldY, opts.system);
    const width = Math.max(260, opts.width), height = Math.round(Math.min(380, Math.max(230, width * 0.42)));
    const place = new Array(archive.n).fill(null);
    const both = [];
    for (let i = 0; i < archive.n; i++) {
      const vx = archive.values[opts.x][i], vy = archive.values[opts.y][i];
      if (vx === vx && vy === vy) both.push(i);
    }
    host.replaceChildren();
    const rangeX = extent(both.map((i) => archive.values[opts.x][i] * unitX.factor));
    const rangeY = extent(both.map((i) => archive.values[opts.y][i] * unitY.factor));
    if (!rangeX || !rangeY) {
      const p = document.createElement("p");
      p.className = "mb-finder-quiet";
      p.textContent = "No build records both " + fieldX.title.toLowerCase() + " and " + fieldY.title.toLowerCase() + ".";
      host.append(p);
      return { update() { return 0; }, both: 0 };
    }
    const named = (field, unit) => field.title + (unit.label ? ", " + unit.label : "");
    const box = svg("svg", { width, height, viewBox: `0 0 ${width} ${height}`, class: "mb-finder-scatter", role: "img", tabindex: 0 });
    const { at, up } = frame(box, {
      width, height, x: { ...rangeX, title: named(fieldX, unitX) }, y: { ...rangeY, title: named(fieldY, unitY) },
    });
    for (const i of both) {
      place[i] = [at(archive.values[opts.x][i] * unitX.factor), up(archive.values[opts.y][i] * unitY.factor)];
    }
    const all = svg("path", { class: "mb-finder-dots-all", d: dots(both.map((i) => place[i])) });
    const some = svg("path", { class: "mb-finder-dots" });
    const picked = svg("g", { class: "mb-finder-picked" });
    const ring = svg("circle", { r: 8, class: "mb-finder-ring", visibility: "hidden" });
    box.append(all, some, picked, ring);
    host.append(box);

    let shown = [];
    let current = -1, inOrder = false;
    const point = (k) => {
      current = k;
      if (k < 0) {
        ring.setAttribute("visibility", "hidden");
        return;
      }
      const [cx, cy] = place[shown[k]];
      ring.setAttribute("cx", cx);
      ring.setAttribute("cy", cy);
      ring.setAttribute("visibility", "visible");
      opts.onPoint(shown[k]);
    };
    const nearest = (event) => {
      const rect = box.getBoundingClientRect();
      const px = event.clientX - rect.left, py = event.clientY - rect.top;
      let best = -1, least = 18 * 18;
      for (let k = 0; k < shown.length; k++) {
        const dx = place[shown[k]][0] - px, dy = place[shown[k]][1] - py;
        if (dx * dx + dy * dy < least) {
          least = dx * dx + dy * dy;
          best = k;
        }
      }
      return best;
    };
    box.addEventListener("pointermove", (event) => point(nearest(event)));
    box.addEventListener("click", (event) => {
      const k = nearest(event);
      if (k < 0) return;
      // A finger has no pointer to hover with: its first tap names the build, the second opens it.
      if (event.pointerType === "touch" && k !== current) point(k);
      else opts.onOpen(shown[k]);
    });
    box.addEventListener("keydown", (event) => {
      if (event.key === "Enter" && current >= 0) opts.onOpen(shown[current]);
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step || !shown.length) return;
      event.preventDefault();
      if (!inOrder) shown.sort((a, b) => place[a][0] - place[b][0] || a - b);
      inOrder = true;
      point((current + step + shown.length) % shown.length);
    });
    return {
      both: both.length,
      update(rows, picks) {
        shown = Array.from(rows).filter((i) => place[i]);
        inOrder = false;
        some.setAttribute("d", dots(shown.map((i) => place[i])));
        picked.replaceChildren();
        picks.forEach((i, k) => {
          if (place[i]) picked.append(marker(k, place[i][0], place[i][1]));
        });
        point(-1);
        box.setAttribute("aria-label", `${named(fieldY, unitY)} against ${named(fieldX, unitX)}: ` +
          `${shown.length} builds shown. Left and right arrows go from build to build, Enter opens one.`);
        return shown.length;
      },
    };
  }

  // ---- curves ------------------------------------------------------------------------------------------

  const LETTERS = "ABCD";

  // The letter of a chosen build, in its colour: the letter and the dashes say it without the colour.
  function marker(k, x, y) {
    const g = svg("g", { class: "mb-finder-mark mb-finder-line" + k });
    g.append(svg("circle", { cx: x, cy: y, r: 8 }), svg("text", { x, y: y + 4, "text-anchor": "middle" }, LETTERS[k]));
    return g;
  }

  // One drawing of torque or power of up to four builds.
  // lines: [{k, title, points: [[x, y], ...]}]
  function curves(host, opts) {
    const width = Math.max(250, opts.width), height = Math.round(Math.min(320, Math.max(210, width * 0.5)));
    const xs = opts.lines.flatMap((line) => line.points.map((p) => p[0]));
    const ys = opts.lines.flatMap((line) => line.points.map((p) => p[1]));
    const rangeX = extent(xs), rangeY = extent(ys, true);
    const figure = document.createElement("figure");
    const caption = document.createElement("figcaption");
    caption.textContent = opts.title;
    figure.append(caption);
    host.append(figure);
    if (!rangeX || !rangeY) return;
    const box = svg("svg", { width, height, viewBox: `0 0 ${width} ${height}`, class: "mb-finder-curves", role: "img" });
    box.setAttribute("aria-label", opts.title + ". " + opts.lines.map((line) => {
      const top = line.points.reduce((a, b) => (b[1] > a[1] ? b : a));
      return `${LETTERS[line.k]}, ${line.title}: most ${Number(top[1].toPrecision(3))} at ${Math.round(top[0])}`;
    }).join("; "));
    const { at, up } = frame(box, { width, height, x: { ...rangeX, title: opts.xTitle }, y: rangeY });
    for (const line of opts.lines) {
      const d = line.points.map((p, i) => (i ? "L" : "M") + at(p[0]).toFixed(1) + " " + up(p[1]).toFixed(1)).join("");
      box.append(svg("path", { d, class: "mb-finder-line mb-finder-line" + line.k }));
    }
    // Letters stand at different shares of the lines, so that they do not cover each other.
    opts.lines.forEach((line, order) => {
      const share = (order + 1) / (opts.lines.length + 1);
      const p = line.points[Math.round(share * (line.points.length - 1))];
      box.append(marker(line.k, at(p[0]), up(p[1])));
    });
    figure.append(box);
  }

  // Torque and power of the chosen builds, whole or per litre, in the units of the page.
  function chosenCurves(host, archive, picks, opts) {
    host.replaceChildren();
    const { core } = globalThis.millbook;
    const torqueUnit = unitOf(archive.bySlug.peak_torque, opts.system);
    const powerUnit = unitOf(archive.bySlug.peak_power, opts.system);
    const torque = [], power = [], without = [];
    picks.forEach((i, k) => {
      const curve = core.curveOf(archive, i);
      const litres = archive.values.displacement[i] * 1000;
      if (!curve || (opts.perLitre && !(litres > 0))) {
        without.push(archive.titles[i]);
        return;
      }
      const size = opts.perLitre ? litres : 1;
      const line = (value) => ({ k, title: archive.titles[i], points: curve.speed.map((n, j) => [n * 60, value(n, curve.torque[j]) / size]) });
      torque.push(line((n, t) => t * torqueUnit.factor));
      power.push(line((n, t) => 2 * Math.PI * n * t * powerUnit.factor));
    });
    const per = opts.perLitre ? " per litre" : "";
    if (torque.length) {
      const width = opts.width >= 620 ? (opts.width - 24) / 2 : opts.width;
      curves(host, { lines: torque, title: `Torque, ${torqueUnit.label}${per}`, xTitle: "rpm", width });
      curves(host, { lines: power, title: `Power, ${powerUnit.label}${per}`, xTitle: "rpm", width });
    }
    if (without.length) {
      const p = document.createElement("p");
      p.className = "mb-finder-quiet";
      p.textContent = "No curve recorded for " + without.join(", ") + ".";
      host.append(p);
    }
  }

  globalThis.millbook = Object.assign(globalThis.millbook || {}, { draw: { scatter, chosenCurves, marker, svg } });
})();
