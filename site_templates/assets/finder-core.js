// The finder without a page: reads the archive's data, filters, sorts, writes numbers, addresses and CSV.
// Pure functions; the tests run this file in Node as well.
(function () {
  "use strict";

  const NUMBER = /^[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?$/i;

  // ---- the archive -------------------------------------------------------------------------------------

  // Lay the data file out in typed columns: NaN for an unknown number, -1 for an unknown choice.
  function decode(data) {
    const n = data.slugs.length;
    const fields = data.fields.map((f) => Object.assign({}, f));
    // Without a prototype: names from an address are looked up in these.
    const bySlug = Object.create(null);
    const values = Object.create(null);
    const codes = Object.create(null);
    for (const field of fields) {
      bySlug[field.slug] = field;
      const column = data.columns[field.slug];
      if (field.kind === "number") {
        const out = new Float64Array(n).fill(NaN);
        let least = Infinity, most = -Infinity;
        if (column) {
          for (let i = 0; i < n; i++) {
            if (column[i] === null) continue;
            const value = (out[i] = column[i] / field.per);
            if (value < least) least = value;
            if (value > most) most = value;
          }
        }
        values[field.slug] = out;
        field.reach = [least, most];
      } else {
        const out = new Int32Array(n).fill(-1);
        if (column) for (let i = 0; i < n; i++) if (column[i] !== null) out[i] = column[i];
        codes[field.slug] = out;
      }
      field.known = Boolean(column);
    }
    return {
      n, fields, bySlug, values, codes, choices: data.choices, system: data.system,
      rules: data.likeness, estimate: data.estimate, slugs: data.slugs, titles: data.titles,
      numbers: data.numbers, dates: data.dates, curves: data.curves, words: data.words, texts: null,
    };
  }

  // A build's value as a number or a text; null where unknown.
  function valueOf(archive, slug, i) {
    if (slug === "title") return archive.titles[i];
    if (slug === "date") return archive.dates[i] || null;
    if (slug === "number") return archive.numbers[i] || null;
    if (archive.values[slug]) {
      const value = archive.values[slug][i];
      return value === value ? value : null;
    }
    const code = archive.codes[slug][i];
    return code < 0 ? null : archive.choices[slug][code];
  }

  // A torque curve: speeds [rev/s] and torques [N m]; null where none is known.
  function curveOf(archive, i) {
    const text = archive.curves[i];
    if (!text) return null;
    const whole = text.split(" ").map(Number);
    const torque = whole.slice(2).map((t) => t / 10);
    return { speed: torque.map((_, k) => (whole[0] + whole[1] * k) / 60), torque };
  }

  // Texts to search in, made on first use: it is the one thing that is not needed to show the table.
  function textsOf(archive) {
    if (!archive.texts) {
      const named = ["family", "purpose", "fuel"].filter((slug) => archive.codes[slug]);
      archive.texts = archive.titles.map((title, i) => {
        const more = named.map((slug) => valueOf(archive, slug, i) || "");
        return [title, archive.numbers[i], ...more, archive.words[i]].join(" ").toLowerCase();
      });
    }
    return archive.texts;
  }

  // ---- filter and order --------------------------------------------------------------------------------

  // Builds in every range ({slug: [least, most]} in SI, null for open), with one of the choices of every
  // field ({slug: [label, ...]}), holding every word. Rows of the archive, in its order.
  function matching(archive, filter) {
    let rows = Int32Array.from({ length: archive.n }, (_, i) => i);
    for (const [slug, [least, most]] of Object.entries(filter.ranges || {})) {
      const column = archive.values[slug];
      if (!column) continue;
      const low = least === null ? -Infinity : least;
      const high = most === null ? Infinity : most;
      rows = rows.filter((i) => column[i] >= low && column[i] <= high);
    }
    for (const [slug, labels] of Object.entries(filter.choices || {})) {
      const column = archive.codes[slug];
      if (!column || !labels.length) continue;
      const wanted = new Set(labels.map((label) => archive.choices[slug].indexOf(label)));
      wanted.delete(-1);
      rows = rows.filter((i) => wanted.has(column[i]));
    }
    const words = (filter.words || "").toLowerCase().split(/\s+/).filter(Boolean);
    if (words.length) {
      const texts = textsOf(archive);
      for (const word of words) rows = rows.filter((i) => texts[i].includes(word));
    }
    return rows;
  }

  // Sort rows by a field; unknown values always last, equal ones in the archive's order.
  function ordered(archive, rows, slug, descending) {
    const sign = descending ? -1 : 1;
    const out = Array.from(rows).sort((a, b) => a - b);
    if (slug === "date" && descending) return out; // the archive's own order
    if (archive.values[slug]) {
      const column = archive.values[slug];
      return out.sort((a, b) => {
        const x = column[a], y = column[b];
        if (x !== x || y !== y) return (x !== x) - (y !== y) || a - b;
        return sign * (x - y) || a - b;
      });
    }
    const texts = new Map(out.map((i) => [i, valueOf(archive, slug, i)]));
    return out.sort((a, b) => {
      const x = texts.get(a), y = texts.get(b);
      if (x === null || y === null) return (x === null) - (y === null) || a - b;
      return sign * (x < y ? -1 : x > y ? 1 : 0) || a - b;
    });
  }

  // ---- numbers as people read them ---------------------------------------------------------------------

  function unitOf(field, system) {
    const unit = field[system] || ["", 1, 0];
    return { label: unit[0], factor: unit[1], decimals: unit[2] };
  }

  function showNumber(field, value, system) {
    const unit = unitOf(field, system);
    const text = (value * unit.factor).toFixed(unit.decimals);
    return /^-[0.]+$/.test(text) ? text.slice(1) : text;
  }

  function show(field, value, system) {
    if (typeof value === "string") return value;
    const label = unitOf(field, system).label;
    return showNumber(field, value, system) + (label === "" || label === "°" ? label : " " + label);
  }

  // What someone typed, as a number; null when nothing was typed, NaN when it is not a number.
  function typed(text) {
    const plain = String(text === undefined || text === null ? "" : text).replace(/[\s\u00a0\u202f]/g, "");
    if (plain === "") return null;
    if (!NUMBER.test(plain)) return NaN;
    const value = Number(plain.replace(",", "."));
    return Number.isFinite(value) ? value : NaN;
  }

  // From the unit on the page to SI.
  function typedIn(field, text, system) {
    const value = typed(text);
    return value === null ? null : value / unitOf(field, system).factor;
  }

  // The same typed text in the other system's unit, one decimal finer than it is shown.
  function retyped(field, text, from, to) {
    const value = typedIn(field, text, from);
    if (value === null || value !== value) return text;
    const unit = unitOf(field, to);
    if (unit.label === unitOf(field, from).label) return text;
    return String(Number((value * unit.factor).toFixed(unit.decimals + 1)));
  }

  // Round steps for an axis: about `count` of them between two values.
  function ticks(least, most, count) {
    const raw = (most - least) / Math.max(1, count);
    if (!(raw > 0) || !Number.isFinite(raw)) return [least];
    const power = Math.pow(10, Math.floor(Math.log10(raw)));
    const step = [1, 2, 2.5, 5, 10].find((s) => s * power >= raw * 0.75) * power;
    const out = [];
    for (let k = Math.ceil(least / step - 1e-9); k * step <= most + step * 1e-9; k++) {
      out.push(Number((k * step).toPrecision(12)));
    }
    return out;
  }

  // ---- the page's state in its address -----------------------------------------------------------------

  // Everything a search is made of, as texts. Nothing in an address is trusted: unknown names are dropped.
  function readState(archive, address) {
    const state = emptyState(archive);
    let given;
    try {
      given = new URLSearchParams(String(address || "").replace(/^[#?]/, ""));
    } catch (error) {
      return state;
    }
    const slugs = new Set(archive.slugs);
    const sortable = (slug) => ["title", "date", "number", "like"].includes(slug) || slug in archive.bySlug;
    for (const [name, value] of given) {
      const field = archive.bySlug[name];
      const plan = name.startsWith("plan.") ? name.slice(5) : "";
      if (name === "words") state.words = value.slice(0, 200);
      else if (name === "u" && (value === "inch" || value === "metric")) state.system = value;
      else if (name === "sort" && sortable(value.replace(/^-/, ""))) state.sort = value;
      else if ((name === "x" || name === "y") && archive.values[value]) state[name] = value;
      else if (name === "curves" && ["whole", "litre"].includes(value)) state.curves = value;
      else if (name === "pick" || name === "with") {
        state.pick = [...new Set(value.split(","))].filter((slug) => slugs.has(slug)).slice(0, 4);
      } else if (plan && archive.bySlug[plan]) {
        state.plan[plan] = value.slice(0, 60);
      } else if (field && field.kind === "number") {
        const ends = value.split("..");
        state.ranges[name] = [ends[0].slice(0, 30), (ends.length > 1 ? ends[1] : ends[0]).slice(0, 30)];
      } else if (field) {
        const labels = value.split("|").filter((label) => archive.choices[name].includes(label));
        if (labels.length) state.choices[name] = labels;
      }
    }
    return state;
  }

  // An empty sort is the usual one: most alike first where there is a plan, else newest first.
  // The axes are displacement and power, or what comes first of what the archive does record.
  function emptyState(archive) {
    const known = archive.fields.filter((f) => f.kind === "number" && f.known).map((f) => f.slug);
    const axis = (slug) => (known.includes(slug) || !known.length ? slug : known[0]);
    return {
      words: "", ranges: {}, choices: {}, plan: {}, system: archive.system, sort: "",
      x: axis("displacement"), y: axis("peak_power"), pick: [], curves: "whole",
    };
  }

  function writeState(archive, state) {
    const usual = emptyState(archive);
    const out = new URLSearchParams();
    if (state.words.trim()) out.set("words", state.words.trim());
    for (const [slug, [least, most]] of Object.entries(state.ranges)) {
      if (least.trim() || most.trim()) out.set(slug, least.trim() + ".." + most.trim());
    }
    for (const [slug, labels] of Object.entries(state.choices)) {
      if (labels.length) out.set(slug, labels.join("|"));
    }
    for (const [slug, text] of Object.entries(state.plan)) {
      if (text.trim()) out.set("plan." + slug, text.trim());
    }
    if (state.pick.length) out.set("pick", state.pick.join(","));
    for (const [name, key] of [["sort", "sort"], ["x", "x"], ["y", "y"], ["curves", "curves"]]) {
      if (state[key] !== usual[key]) out.set(name, state[key]);
    }
    // Typed numbers mean nothing without their units, so the address always names them.
    if (out.toString() || state.system !== usual.system) out.set("u", state.system);
    return out.toString().replace(/%2C/g, ",").replace(/%7C/g, "|");
  }

  // The filter in SI that a state stands for, and the range fields that could not be read.
  function filterOf(archive, state) {
    const ranges = {};
    const wrong = {};
    for (const [slug, [leastText, mostText]] of Object.entries(state.ranges)) {
      const field = archive.bySlug[slug];
      const ends = [typedIn(field, leastText, state.system), typedIn(field, mostText, state.system)];
      const bad = ends.map((end) => end !== end);
      if (bad[0] || bad[1]) wrong[slug] = bad;
      const least = bad[0] ? null : ends[0];
      const most = bad[1] ? null : ends[1];
      if (least !== null || most !== null) ranges[slug] = [least, most];
      // A bound is as coarse as the page shows the value: 10.5 also finds 10.4999.
      if (ranges[slug]) {
        const hair = 0.5 / field.per;
        ranges[slug] = [least === null ? null : least - hair, most === null ? null : most + hair];
      }
    }
    return { filter: { ranges, choices: state.choices, words: state.words }, wrong };
  }

  // The plan in SI, and the fields that could not be read.
  function planOf(archive, state) {
    const plan = {};
    const wrong = {};
    for (const [slug, text] of Object.entries(state.plan)) {
      const field = archive.bySlug[slug];
      if (field.group === "result" || !text.trim()) continue;
      if (field.kind === "choice") {
        plan[slug] = text.trim();
        continue;
      }
      const value = typedIn(field, text, state.system);
      if (value === null) continue;
      if (value !== value || !(Math.abs(value * field.per) < 2 ** 53) || (field.ratio && value <= 0)) {
        wrong[slug] = true;
      } else {
        plan[slug] = Math.round(value * field.per) / field.per;
      }
    }
    return { plan, wrong };
  }

  // ---- side by side ------------------------------------------------------------------------------------

  // What differs between builds as it reads in these units, and the titles of what is the same and known.
  function compared(archive, rows, system) {
    const different = [], alike = [];
    for (const field of [{ slug: "date", title: "Date", group: "what it is" }, ...archive.fields]) {
      const texts = rows.map((i) => {
        const value = valueOf(archive, field.slug, i);
        return value === null ? "not recorded" : show(field, value, system);
      });
      if (new Set(texts).size > 1) different.push({ slug: field.slug, title: field.title, group: field.group, values: texts });
      else if (texts[0] !== "not recorded") alike.push(field.title);
    }
    return { different, alike };
  }

  // ---- CSV ---------------------------------------------------------------------------------------------

  // A cell for a spreadsheet. A text that it would take for a formula gets a quote mark before it.
  function csvCell(value) {
    if (value === null || value === undefined) return "";
    if (typeof value === "number") return String(value);
    let text = String(value);
    if (/^[\s\u0000-\u001f]*[=+\-@|%]/.test(text) || /^[\t\r\n]/.test(text)) text = "'" + text;
    return /[",;\r\n\t]|^\s|\s$/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  }

  // What is shown, as RFC 4180 text: a heading with units, then one build a line.
  function csv(archive, rows, slugs, system, extra) {
    const more = extra || [];
    const heads = slugs.map((slug) => {
      const field = archive.bySlug[slug];
      if (!field) return slug === "title" ? "Build" : slug === "date" ? "Date" : slug;
      const unit = unitOf(field, system).label;
      return unit ? field.title + " [" + unit + "]" : field.title;
    });
    const lines = [["Address name", ...heads, ...more.map((m) => m.title)]];
    rows.forEach((i) => {
      const cells = slugs.map((slug) => {
        const value = valueOf(archive, slug, i);
        const field = archive.bySlug[slug];
        return typeof value === "number" ? Number(showNumber(field, value, system)) : value;
      });
      lines.push([archive.slugs[i], ...cells, ...more.map((m) => m.value(i))]);
    });
    return lines.map((cells) => cells.map(csvCell).join(",")).join("\r\n") + "\r\n";
  }

  const core = {
    decode, valueOf, curveOf, matching, ordered, unitOf, showNumber, show, typed, typedIn, retyped, ticks,
    readState, writeState, emptyState, filterOf, planOf, compared, csvCell, csv,
  };
  globalThis.millbook = Object.assign(globalThis.millbook || {}, { core });
  if (typeof module !== "undefined") module.exports = core;
})();
