// The finder without a page: decodes the archive's data, filters, sorts, formats numbers, addresses and CSV.
// Pure functions; the tests also run this file in Node. A build is named by its row, the newest build is row 0.
(function () {
  "use strict";

  const NUMBER = /^[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?$/i;
  const MAX_PICKS = 4;
  const PRINTED_ROWS = 8; // as in finder.css

  // ---- archive -----------------------------------------------------------------------------------------

  /**
   * Decode the data file into typed columns. An unknown number is NaN, an unknown choice -1.
   * `fields` gain `range` (least and most in SI) and `known` (whether any build records it).
   */
  function decode(data) {
    const size = data.slugs.length;
    const fields = data.fields.map((field) => Object.assign({}, field));
    // Without a prototype, because names from an address are looked up in these.
    const bySlug = Object.create(null);
    const values = Object.create(null);
    const codes = Object.create(null);
    for (const field of fields) {
      bySlug[field.slug] = field;
      const column = data.columns[field.slug];
      if (field.kind === "number") {
        const numbers = new Float64Array(size).fill(NaN);
        let min = Infinity, max = -Infinity;
        if (column) {
          for (let row = 0; row < size; row++) {
            if (column[row] === null) continue;
            const value = (numbers[row] = column[row] / field.per);
            if (value < min) min = value;
            if (value > max) max = value;
          }
        }
        values[field.slug] = numbers;
        field.range = [min, max];
      } else {
        codes[field.slug] = Int32Array.from({ length: size }, (_, row) => (column && column[row] !== null ? column[row] : -1));
      }
      field.known = Boolean(column);
    }
    // Names of parts by build; null where unknown.
    const texts = Object.create(null);
    for (const [slug, { title, names, rows }] of Object.entries(data.texts)) {
      texts[slug] = { title, known: names.length > 0, values: data.slugs.map((_, row) => names[rows[row]] ?? null) };
    }
    return {
      texts, ready: data.ready, size, fields, bySlug, values, codes, choices: data.choices, system: data.system,
      rules: data.likeness, estimate: data.estimate, slugs: data.slugs, titles: data.titles,
      engines: data.engines, numbers: data.numbers, dates: data.dates, curves: data.curves, words: data.words, search: data.search, searchTexts: null,
    };
  }

  /** @returns {number|string|null} a build's value; null where unknown */
  function valueOf(archive, slug, row) {
    if (slug === "title") return archive.titles[row];
    if (slug === "date") return archive.dates[row] || null;
    if (slug === "number") return archive.numbers[row] || null;
    if (archive.texts[slug]) return archive.texts[slug].values[row];
    if (archive.values[slug]) {
      const value = archive.values[slug][row];
      return Number.isNaN(value) ? null : value;
    }
    const code = archive.codes[slug][row];
    return code < 0 ? null : archive.choices[slug][code];
  }

  /** @returns {{speed: number[], torque: number[]}|null} a torque curve: speeds [rev/s], torques [N m] */
  function curveOf(archive, row) {
    const text = archive.curves[row];
    if (!text) return null;
    const [start, step, ...tenths] = text.split(" ").map(Number);
    const torque = tenths.map((value) => value / 10);
    return { speed: torque.map((_, i) => (start + step * i) / 60), torque };
  }

  // The text to search in for each build, joined at the first search: the table does not need it.
  function searchTextsOf(archive) {
    if (!archive.searchTexts) {
      const slugs = archive.search.choices.filter((slug) => archive.codes[slug]);
      archive.searchTexts = archive.titles.map((title, row) => {
        const choices = slugs.map((slug) => valueOf(archive, slug, row) || "");
        const names = Object.values(archive.texts).map(({ values }) => values[row] || "");
        return [title, archive.numbers[row], ...choices, ...names, archive.words[row]].join(" ").toLowerCase();
      });
    }
    return archive.searchTexts;
  }

  // ---- filter and sort ---------------------------------------------------------------------------------

  /**
   * Return the rows that match a filter, in the archive's order.
   * @param {{ranges?: Object<string, [number|null, number|null]>, choices?: Object<string, string[]>, words?: string}}
   *   filter ranges in SI (null for open), one of the choices of every field, every word
   */
  function filterRows(archive, filter) {
    let rows = Int32Array.from({ length: archive.size }, (_, row) => row);
    for (const [slug, [min, max]] of Object.entries(filter.ranges || {})) {
      const column = archive.values[slug];
      if (!column) continue;
      const low = min === null ? -Infinity : min;
      const high = max === null ? Infinity : max;
      rows = rows.filter((row) => column[row] >= low && column[row] <= high);
    }
    for (const [slug, labels] of Object.entries(filter.choices || {})) {
      const column = archive.codes[slug];
      if (!column || !labels.length) continue;
      const codes = new Set(labels.map((label) => archive.choices[slug].indexOf(label)));
      codes.delete(-1);
      rows = rows.filter((row) => codes.has(column[row]));
    }
    const words = wordsOf(filter);
    if (words.length) {
      const texts = searchTextsOf(archive);
      for (const word of words) {
        const ratio = /^\d{1,2}\.\d{1,2}(:1)?$/.test(word) ? parseFloat(word) : NaN;
        const isNear = (row) => Math.abs(archive.values.compression_ratio?.[row] - ratio) < archive.search.ratioTolerance;
        rows = rows.filter((row) => texts[row].includes(word) || isNear(row));
      }
    }
    return rows;
  }

  const wordsOf = (filter) => (filter.words || "").toLowerCase().split(/\s+/).filter(Boolean);

  /** Return how many builds would match without one of the words: [{word, count}], those that help alone. */
  function withoutOneWord(archive, filter) {
    const words = wordsOf(filter);
    return words.map((word, index) => {
      const others = words.filter((_, other) => other !== index).join(" ");
      return { word, count: filterRows(archive, { ...filter, words: others }).length };
    }).filter(({ count }) => words.length > 1 && count > 0);
  }

  // Sort rows by a field: unknown values last, equal ones in the archive's order.
  function sortRows(archive, rows, slug, descending) {
    const sign = descending ? -1 : 1;
    const sorted = Array.from(rows).sort((a, b) => a - b);
    if (slug === "date" && descending) return sorted; // the archive's own order
    const values = new Map(sorted.map((row) => [row, valueOf(archive, slug, row)]));
    return sorted.sort((a, b) => {
      const x = values.get(a), y = values.get(b);
      if (x === null || y === null) return (x === null) - (y === null) || a - b;
      return sign * (x < y ? -1 : x > y ? 1 : 0) || a - b;
    });
  }

  // ---- numbers and units -------------------------------------------------------------------------------

  function unitOf(field, system) {
    const [label, factor, decimals] = field[system] || ["", 1, 0];
    return { label, factor, decimals };
  }

  // A half rounds away from zero; the factor makes up for the error of binary arithmetic, as in the Python code.
  function formatNumber(field, value, system) {
    const unit = unitOf(field, system);
    const number = value * unit.factor;
    const text = (Math.abs(number) < 1e9 ? number * (1 + 1e-14) : number).toFixed(unit.decimals);
    return /^-[0.]+$/.test(text) ? text.slice(1) : text;
  }

  function formatValue(field, value, system) {
    if (typeof value === "string") return value;
    const label = unitOf(field, system).label;
    return formatNumber(field, value, system) + (label === "" || label === "°" ? label : " " + label);
  }

  /** Read a typed number: null when nothing was typed, NaN when it is not a number. */
  function parseNumber(text) {
    const digits = String(text === undefined || text === null ? "" : text).replace(/[\s\u00a0\u202f]/g, "");
    if (digits === "") return null;
    if (!NUMBER.test(digits)) return NaN;
    const value = Number(digits.replace(",", "."));
    return Number.isFinite(value) ? value : NaN;
  }

  // Read a typed number in the field's unit; the result is in SI.
  function parseInUnit(field, text, system) {
    const value = parseNumber(text);
    return value === null ? null : value / unitOf(field, system).factor;
  }

  // Convert typed text to the other system's unit, with one decimal more than the page shows.
  function convertTyped(field, text, from, to) {
    const value = parseInUnit(field, text, from);
    if (value === null || Number.isNaN(value)) return text;
    const unit = unitOf(field, to);
    if (unit.label === unitOf(field, from).label) return text;
    return String(Number((value * unit.factor).toFixed(unit.decimals + 1)));
  }

  // About `count` round steps of an axis between two values.
  function ticks(min, max, count) {
    const raw = (max - min) / Math.max(1, count);
    if (!(raw > 0) || !Number.isFinite(raw)) return [min];
    const power = Math.pow(10, Math.floor(Math.log10(raw)));
    const step = [1, 2, 2.5, 5, 10].find((multiple) => multiple * power >= raw * 0.75) * power;
    const values = [];
    for (let i = Math.ceil(min / step - 1e-9); i * step <= max + step * 1e-9; i++) {
      values.push(Number((i * step).toPrecision(12)));
    }
    return values;
  }

  // ---- state and address -------------------------------------------------------------------------------

  // Read the state of the page, as texts, from its address. Unknown names and values in the address are ignored.
  function readState(archive, address) {
    const state = emptyState(archive);
    let parameters;
    try {
      parameters = new URLSearchParams(String(address || "").replace(/^[#?]/, ""));
    } catch (error) {
      return state;
    }
    const slugs = new Set(archive.slugs);
    const sortable = (slug) => ["title", "date", "number", "like"].includes(slug) || slug in archive.bySlug || slug in archive.texts;
    for (const [name, value] of parameters) {
      const field = archive.bySlug[name];
      const planned = name.startsWith("plan.") ? name.slice(5) : "";
      if (name === "words") state.words = value.slice(0, 200);
      else if (name === "u" && (value === "inch" || value === "metric")) state.system = value;
      else if (name === "sort" && sortable(value.replace(/^-/, ""))) state.sort = value;
      else if ((name === "x" || name === "y") && archive.values[value]) state[name] = value;
      else if (name === "color" && archive.codes[value]) state.color = value;
      else if (name === "curves" && ["whole", "litre"].includes(value)) state.curves = value;
      else if (name === "show" && ["builds", "engines"].includes(value)) state.show = value;
      else if (name === "pick" || name === "with") {
        state.pick = [...new Set(value.split(","))].filter((slug) => slugs.has(slug)).slice(0, MAX_PICKS);
      } else if (planned && archive.bySlug[planned]) {
        state.plan[planned] = value.slice(0, 60);
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

  // Return the state of a page without parameters. An empty sort is the default one: most similar first with a plan,
  // else newest first. The axes are displacement and power, or the first field that the archive records.
  function emptyState(archive) {
    const known = archive.fields.filter((field) => field.kind === "number" && field.known).map((field) => field.slug);
    const axis = (slug) => (known.includes(slug) || !known.length ? slug : known[0]);
    return {
      words: "", ranges: {}, choices: {}, plan: {}, system: archive.system, sort: "",
      x: axis("displacement"), y: axis("peak_power"), color: "", pick: [], curves: "whole", show: "builds",
    };
  }

  function writeState(archive, state) {
    const defaults = emptyState(archive);
    const parameters = new URLSearchParams();
    if (state.words.trim()) parameters.set("words", state.words.trim());
    for (const [slug, [min, max]] of Object.entries(state.ranges)) {
      if (min.trim() || max.trim()) parameters.set(slug, min.trim() + ".." + max.trim());
    }
    for (const [slug, labels] of Object.entries(state.choices)) {
      if (labels.length) parameters.set(slug, labels.join("|"));
    }
    for (const [slug, text] of Object.entries(state.plan)) {
      if (text.trim()) parameters.set("plan." + slug, text.trim());
    }
    if (state.pick.length) parameters.set("pick", state.pick.join(","));
    for (const name of ["sort", "x", "y", "color", "curves", "show"]) {
      if (state[name] !== defaults[name]) parameters.set(name, state[name]);
    }
    // Typed numbers mean nothing without their units, so the address always names the system.
    if (parameters.toString() || state.system !== defaults.system) parameters.set("u", state.system);
    return parameters.toString().replace(/%2C/g, ",").replace(/%7C/g, "|");
  }

  /** Return the filter of a state in SI, and by slug which ends of a range are not numbers. */
  function filterFromState(archive, state) {
    const ranges = {};
    const invalid = {};
    for (const [slug, texts] of Object.entries(state.ranges)) {
      const field = archive.bySlug[slug];
      const ends = texts.map((text) => parseInUnit(field, text, state.system));
      const invalidEnds = ends.map((end) => Number.isNaN(end));
      if (invalidEnds[0] || invalidEnds[1]) invalid[slug] = invalidEnds;
      const [min, max] = ends.map((end) => (Number.isNaN(end) ? null : end));
      if (min === null && max === null) continue;
      // A limit is as coarse as the value on the page: 10.5 also finds 10.4999.
      const tolerance = 0.5 / field.per;
      ranges[slug] = [min === null ? null : min - tolerance, max === null ? null : max + tolerance];
    }
    return { filter: { ranges, choices: state.choices, words: state.words }, invalid };
  }

  /** Return the plan of a state in SI, and by slug which numbers are not usable. */
  function planFromState(archive, state) {
    const plan = {};
    const invalid = {};
    for (const [slug, text] of Object.entries(state.plan)) {
      const field = archive.bySlug[slug];
      if (field.group === "result" || !text.trim()) continue;
      if (field.kind === "choice") {
        plan[slug] = text.trim();
        continue;
      }
      const value = parseInUnit(field, text, state.system);
      if (value === null) continue;
      if (!(Math.abs(value * field.per) < 2 ** 53) || (field.ratio && value <= 0)) {
        invalid[slug] = true;
      } else {
        plan[slug] = Math.round(value * field.per) / field.per;
      }
    }
    return { plan, invalid };
  }

  // Return what a state asks for in words, for the printed page, which has no form.
  function askedText(archive, state, count) {
    const unit = (field) => {
      const { label } = unitOf(field, state.system);
      return label === "" || label === "°" ? label : " " + label;
    };
    const filters = [];
    if (state.words.trim()) filters.push(`"${state.words.trim()}"`);
    for (const [slug, texts] of Object.entries(state.ranges)) {
      const [min, max] = texts.map((text) => text.trim());
      if (!min && !max) continue;
      const field = archive.bySlug[slug];
      const range = min && max ? `${min} to ${max}` : min ? `from ${min}` : `up to ${max}`;
      filters.push(`${inSentence(field.title)} ${range}${unit(field)}`);
    }
    for (const [slug, labels] of Object.entries(state.choices)) {
      if (labels.length) filters.push(`${inSentence(archive.bySlug[slug].title)} ${labels.join(" or ")}`);
    }
    const planned = Object.entries(state.plan).filter(([, text]) => text.trim()).map(([slug, text]) => {
      const field = archive.bySlug[slug];
      return `${inSentence(field.title)} ${text.trim()}${field.kind === "number" ? unit(field) : ""}`;
    });
    const sentences = [];
    if (planned.length) sentences.push(`Planned: ${planned.join(", ")}.`);
    if (filters.length) sentences.push(`Filters: ${filters.join(", ")}.`);
    if (count > PRINTED_ROWS) sentences.push(`The first ${PRINTED_ROWS} of ${count} builds.`);
    return sentences.join(" ");
  }

  // ---- comparison --------------------------------------------------------------------------------------

  // Return the fields in which builds differ as displayed, and the titles of those that are known and the same.
  function compareBuilds(archive, rows, system) {
    const different = [], identical = [];
    for (const field of [{ slug: "date", title: "Date", group: "general" }, ...archive.fields]) {
      const { slug, title, group } = field;
      const values = rows.map((row) => {
        const value = valueOf(archive, slug, row);
        return value === null ? null : formatValue(field, value, system);
      });
      if (new Set(values).size > 1) different.push({ slug, title, group, values: values.map((text) => text ?? "not recorded") });
      else if (values[0] !== null) identical.push(`${title} ${values[0]}`);
    }
    return { different, identical };
  }

  /**
   * Compare the records of builds, file by file: [{title, different: [{title, values}], identical: [titles]}].
   * Readings are their range; where all builds are of one engine, the number at every position.
   * @param {{engine: ?string, files: Array}[]} records as record.js holds them
   */
  function compareRecords(records, system) {
    const oneEngine = Boolean(records[0].engine) && records.every((record) => record.engine === records[0].engine);
    const shown = ([, , inch, metric, everyPosition]) =>
      (oneEngine && everyPosition) || (system === "metric" && metric) || inch;
    const files = [];
    records.forEach((record, index) => record.files.forEach(([place, title, fields]) => {
      const file = (files[place] ||= { title, fields: new Map() });
      for (const field of fields) {
        const name = field[0] ? `${field[0]}: ${inSentence(field[1])}` : field[1];
        if (!file.fields.has(name)) file.fields.set(name, records.map(() => "not recorded"));
        file.fields.get(name)[index] = shown(field);
      }
    }));
    return files.filter(Boolean).map(({ title, fields }) => {
      const rows = [...fields].map(([name, values]) => ({ title: name, values }));
      const differs = ({ values }) => new Set(values).size > 1;
      return { title, different: rows.filter(differs),
        identical: rows.filter((row) => !differs(row)).map((row) => row.title) };
    });
  }

  /** Return of each engine only its latest build among these rows, which are newest first. */
  function latestOfEngines(archive, rows) {
    const seen = new Set();
    return rows.filter((row) => !seen.has(archive.engines[row]) && seen.add(archive.engines[row]));
  }

  // Return a title within a sentence: with a small first letter, unless it begins with an abbreviation.
  function inSentence(title) {
    return /^[A-Z]([a-z ]|$)/.test(title) ? title.slice(0, 1).toLowerCase() + title.slice(1) : title;
  }

  // Return a text as a sentence.
  function sentence(text) {
    return text.slice(0, 1).toUpperCase() + text.slice(1) + ".";
  }

  // ---- CSV ---------------------------------------------------------------------------------------------

  // Return a cell for a spreadsheet. A text that it would read as a formula gets an apostrophe in front.
  function csvCell(value) {
    if (value === null || value === undefined) return "";
    if (typeof value === "number") return String(value);
    let text = String(value);
    if (/^[\s\u0000-\u001f]*[=+\-@|%]/.test(text) || /^[\t\r\n]/.test(text)) text = "'" + text;
    return /[",;\r\n\t]|^\s|\s$/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  }

  /**
   * Return rows as RFC 4180 text: a header with units, then a line for each build.
   * @param {{title: string, value: function(number): *}[]} [extraColumns]
   */
  function toCsv(archive, rows, slugs, system, extraColumns = []) {
    const header = slugs.map((slug) => {
      const field = archive.bySlug[slug];
      if (!field) return archive.texts[slug]?.title || { title: "Build", date: "Date" }[slug] || slug;
      const unit = unitOf(field, system).label;
      return unit ? field.title + " [" + unit + "]" : field.title;
    });
    const lines = [["Build id", ...header, ...extraColumns.map((column) => column.title)]];
    rows.forEach((row) => {
      const cells = slugs.map((slug) => {
        const value = valueOf(archive, slug, row);
        return typeof value === "number" ? Number(formatNumber(archive.bySlug[slug], value, system)) : value;
      });
      lines.push([archive.slugs[row], ...cells, ...extraColumns.map((column) => column.value(row))]);
    });
    return lines.map((cells) => cells.map(csvCell).join(",")).join("\r\n") + "\r\n";
  }

  const core = {
    MAX_PICKS, askedText, decode, valueOf, curveOf, filterRows, withoutOneWord, sortRows, unitOf, formatNumber, formatValue, parseNumber,
    parseInUnit, convertTyped, ticks, readState, writeState, emptyState, filterFromState, planFromState, compareBuilds,
    compareRecords, latestOfEngines, inSentence, sentence, csvCell, toCsv,
  };
  globalThis.millbook = Object.assign(globalThis.millbook || {}, { core });
  if (typeof module !== "undefined") module.exports = core;
})();
