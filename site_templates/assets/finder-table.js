// The table of builds: sortable, twenty rows at first and a hundred more whenever asked for, so that an archive of
// thousands answers each key as fast as one of ten. Rows are reused from one filter to the next.
(function () {
  "use strict";

  const { core, likeness } = globalThis.millbook;
  const { el } = globalThis.millbook.form;

  const FIRST = 20, MORE = 100;
  // What was asked for and what it made come first; the rest is to the right.
  const COLUMNS = [
    "displacement", "cylinders", "compression_ratio", "peak_torque", "peak_power", "bmep", "specific_power", "induction",
    "fuel", "effective_compression_ratio", "intake_duration_050", "intake_duration_1mm", "lobe_separation", "head_flow",
    "date", "family",
  ];
  // Speeds stand in small print below what was reached at them.
  const BELOW = { peak_torque: "peak_torque_speed", peak_power: "peak_power_speed" };

  function columnsOf(archive) {
    return COLUMNS.filter((slug) => slug === "date" || archive.bySlug[slug].known);
  }

  // `act.sort(slug)`, `act.pick(i, on)`, `act.link(i)` are the page's.
  function table(archive, act) {
    const columns = columnsOf(archive);
    const body = el("tbody", {});
    const head = el("tr", {});
    const grid = el("table", { class: "mb-finder-table" }, el("caption", { class: "mb-finder-hidden", text: "Builds found" }), el("thead", {}, head), body);
    const scroller = el("div", { class: "mb-finder-scroll", role: "region", tabindex: "0", "aria-label": "Builds found; scrolls sideways" }, grid);
    const more = el("button", { type: "button", class: "mb-finder-button", onclick: () => {
      limit += MORE;
      render();
      const row = pool[limit - MORE];
      if (row) row.link.focus();
    } });
    const none = el("p", { class: "mb-finder-none", text: "No build is like that. Widen a range, or clear a field." });
    const node = el("div", {}, scroller, none, more);
    const heads = new Map();
    const pool = [];
    let limit = FIRST;
    let rows = [], view = null;

    function headCell(slug, text, unit, numeric) {
      const mark = el("span", { class: "mb-finder-arrow", "aria-hidden": "true" });
      const button = el("button", { type: "button", onclick: () => act.sort(slug) }, el("span", { text }), mark);
      const th = el("th", { scope: "col", class: numeric ? "mb-finder-n" : null }, button);
      const small = el("small", { text: unit });
      button.append(small);
      heads.set(slug, { th, mark, small });
      return th;
    }

    function headings() {
      head.replaceChildren(headCell("title", "Build", "", false));
      const like = headCell("like", "Likeness", "", true);
      const differs = el("th", { scope: "col", text: "How it differs" });
      like.classList.add("mb-finder-like");
      differs.classList.add("mb-finder-like");
      head.append(like, differs);
      for (const slug of columns) {
        const field = archive.bySlug[slug];
        const text = field ? field.title : "Date";
        head.append(headCell(slug, text, "", Boolean(field && field.kind === "number")));
      }
    }
    headings();

    function makeRow() {
      const box = el("input", { type: "checkbox" });
      const link = el("a", {});
      const sub = el("small", {});
      const likeCell = el("td", { class: "mb-finder-n mb-finder-like" });
      const differs = el("td", { class: "mb-finder-differs mb-finder-like" });
      const tr = el("tr", {}, el("th", { scope: "row" }, el("div", { class: "mb-finder-name" }, box, el("span", {}, link, sub))), likeCell, differs);
      const cells = columns.map((slug) => {
        const field = archive.bySlug[slug];
        const main = document.createTextNode("");
        const td = el("td", { class: field && field.kind === "number" ? "mb-finder-n" : null }, main);
        const below = BELOW[slug] ? td.appendChild(el("small", {})) : null;
        tr.append(td);
        return { slug, field, main, below };
      });
      const row = { tr, box, link, sub, likeCell, differs, cells, i: -1 };
      box.addEventListener("change", () => {
        box.checked = act.pick(row.i, box.checked);
      });
      return row;
    }

    function fill(row, i) {
      row.i = i;
      const title = archive.titles[i];
      row.link.textContent = title;
      row.link.href = act.link(i);
      row.sub.textContent = archive.numbers[i];
      row.box.checked = view.picks.includes(i);
      row.box.setAttribute("aria-label", "Draw the curves of " + title);
      for (const { slug, field, main, below } of row.cells) {
        const value = core.valueOf(archive, slug, i);
        main.data = value === null ? "–" : typeof value === "number" ? core.showNumber(field, value, view.system) : value;
        if (below) {
          const speed = core.valueOf(archive, BELOW[slug], i);
          below.textContent = speed === null ? "" : "at " + core.show(archive.bySlug[BELOW[slug]], speed, view.system);
        }
      }
      if (view.plan) {
        const d = view.distances[i];
        const known = Number.isFinite(d);
        // Rounded down: only what is alike in everything is 100 %.
        row.likeCell.textContent = known ? Math.floor(100 * (1 - d) + 1e-9) + " %" : "–";
        const found = known ? likeness.differences(archive, view.plan, i) : [];
        const texts = found.slice(0, 3).map((x) => likeness.differenceText(x, view.system));
        row.differs.textContent = !known ? "too little in common to say" : texts.join("; ") || "alike in everything planned";
      }
    }

    function render() {
      const count = Math.min(limit, rows.length);
      for (let k = 0; k < count; k++) {
        if (!pool[k]) pool.push(makeRow());
        fill(pool[k], rows[k]);
        if (!pool[k].tr.isConnected) body.append(pool[k].tr);
      }
      for (let k = count; k < pool.length && pool[k].tr.isConnected; k++) pool[k].tr.remove();
      const left = rows.length - count;
      more.hidden = left <= 0;
      more.textContent = `Show ${Math.min(MORE, left)} more of ${left}`;
      none.hidden = rows.length > 0;
      scroller.hidden = rows.length === 0;
    }

    return {
      node,
      columns,
      // view: {system, sort, picks, plan or null, distances}
      show(found, given, fresh) {
        rows = found;
        view = given;
        if (fresh) limit = FIRST;
        grid.classList.toggle("mb-finder-planned", Boolean(view.plan));
        const descending = view.sort.startsWith("-") || view.sort === "like";
        const by = view.sort.replace(/^-/, "");
        for (const [slug, { th, mark, small }] of heads) {
          th.setAttribute("aria-sort", slug !== by ? "none" : descending ? "descending" : "ascending");
          mark.textContent = slug !== by ? "" : descending ? "↓" : "↑";
          const field = archive.bySlug[slug];
          small.textContent = field && field.kind === "number" ? core.unitOf(field, view.system).label : "";
        }
        render();
      },
    };
  }

  globalThis.millbook = Object.assign(globalThis.millbook || {}, { table: { table, columnsOf } });
})();
