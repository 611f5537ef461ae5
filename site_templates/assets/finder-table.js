// The table of builds: sortable, with twenty rows at first and a hundred more on request, so that an archive of
// thousands responds as fast as one of ten. Row elements are reused from one filter to the next.
(function () {
  "use strict";

  const { core, similarity } = globalThis.millbook;
  const { el } = globalThis.millbook.form;

  const FIRST_ROWS = 20, MORE_ROWS = 100;
  // The fields that describe an order and its result come first.
  const COLUMNS = [
    "displacement", "compression_ratio", "peak_power", "peak_torque", "bmep", "fuel", "octane", "cam", "heads",
    "carburetor", "date", "cylinders", "specific_power", "induction", "effective_compression_ratio",
    "intake_duration_050", "intake_duration_1mm", "lobe_separation", "head_flow", "family",
  ];
  const NO_BUILDS = "No builds match. Widen a range or clear a filter.";
  // What is printed on one page: these columns, of the first builds.
  const PRINTED = COLUMNS.slice(0, COLUMNS.indexOf("date") + 1);
  // The speed of a peak is shown below it.
  const SPEED_OF = { peak_torque: "peak_torque_speed", peak_power: "peak_power_speed" };

  /**
   * Create the table.
   * @param {{sort: function(string), pick: function(number, boolean): boolean, link: function(number): string}} actions
   *   `pick` adds or removes a build and returns whether it is picked now; `link` returns the address of a build
   * @returns {{node: Element, columns: string[], show: function(number[], Object, boolean)}}
   */
  function table(archive, actions) {
    const columns = COLUMNS.filter((slug) => slug === "date" || (archive.bySlug[slug] || archive.texts[slug]).known);
    const columnClass = (slug, field) => [field && field.kind === "number" ? "mb-finder-n" : "",
      archive.texts[slug] ? "mb-finder-part" : "", PRINTED.includes(slug) ? "" : "mb-screen"].filter(Boolean).join(" ") || null;
    const body = el("tbody", {});
    const headRow = el("tr", {});
    const tableNode = el("table", { class: "mb-finder-table" },
      el("caption", { class: "mb-finder-hidden", text: "Builds found" }), el("thead", {}, headRow), body);
    const scroller = el("div", { class: "mb-finder-scroll", role: "region", tabindex: "0",
      "aria-label": "Builds found; scrolls sideways" }, tableNode);
    const moreButton = el("button", { type: "button", class: "mb-finder-button", onclick: () => {
      limit += MORE_ROWS;
      render();
      const firstNew = rowElements[limit - MORE_ROWS];
      if (firstNew) firstNew.link.focus();
    } });
    const emptyNote = el("p", { class: "mb-finder-none" });
    const node = el("div", {}, scroller, emptyNote, moreButton);
    const headings = new Map();
    const rowElements = [];
    let limit = FIRST_ROWS;
    let rows = [], view = null;

    function createHeading(slug, text, className) {
      const arrow = el("span", { class: "mb-finder-arrow", "aria-hidden": "true" });
      const unit = el("small", {});
      const button = el("button", { type: "button", onclick: () => actions.sort(slug) }, el("span", { text }), arrow, unit);
      const th = el("th", { scope: "col", class: className }, button);
      headings.set(slug, { th, arrow, unit });
      return th;
    }

    function createHeadings() {
      const likeness = createHeading("like", "Match", "mb-finder-n");
      const differences = el("th", { scope: "col", text: "Main differences" });
      likeness.classList.add("mb-finder-like");
      differences.classList.add("mb-finder-like");
      headRow.replaceChildren(createHeading("title", "Build", null), likeness, differences, ...columns.map((slug) => {
        const field = archive.bySlug[slug];
        return createHeading(slug, (field || archive.texts[slug] || { title: "Date" }).title, columnClass(slug, field));
      }));
    }
    createHeadings();

    function createRow() {
      const checkbox = el("input", { type: "checkbox" });
      const link = el("a", {});
      const number = el("small", {});
      const likeness = el("td", { class: "mb-finder-n mb-finder-like" });
      const differences = el("td", { class: "mb-finder-differs mb-finder-like" });
      const name = el("div", { class: "mb-finder-name" }, checkbox, el("span", {}, link, number));
      const tr = el("tr", {}, el("th", { scope: "row" }, name), likeness, differences);
      const cells = columns.map((slug) => {
        const field = archive.bySlug[slug];
        const text = document.createTextNode("");
        const td = el("td", { class: columnClass(slug, field), "data-part": archive.texts[slug] ? slug : null }, text);
        const speed = SPEED_OF[slug] ? td.appendChild(el("small", {})) : null;
        tr.append(td);
        return { slug, field, text, speed };
      });
      const elements = { tr, checkbox, link, number, likeness, differences, cells, row: -1 };
      checkbox.addEventListener("change", () => {
        checkbox.checked = actions.pick(elements.row, checkbox.checked);
      });
      return elements;
    }

    function fillRow(elements, row) {
      elements.row = row;
      const title = archive.titles[row];
      elements.link.textContent = title;
      elements.link.href = actions.link(row);
      elements.number.textContent = archive.numbers[row];
      elements.checkbox.checked = view.picks.includes(row);
      elements.checkbox.setAttribute("aria-label", "Draw the curves of " + title);
      for (const { slug, field, text, speed } of elements.cells) {
        const value = core.valueOf(archive, slug, row);
        text.data = value === null ? "–" : typeof value === "number" ? core.formatNumber(field, value, view.system) : value;
        if (speed) {
          const speedSlug = SPEED_OF[slug], speedValue = core.valueOf(archive, speedSlug, row);
          speed.textContent = speedValue === null ? "" : "at " + core.formatValue(archive.bySlug[speedSlug], speedValue, view.system);
        }
      }
      if (!view.plan) return;
      const distance = view.distances[row];
      if (Number.isFinite(distance)) {
        const largest = similarity.differences(archive, view.plan, row).slice(0, 3);
        const texts = largest.map((difference) => similarity.differenceText(difference, view.system));
        // Rounded down, so that only builds without a difference have 100 %.
        elements.likeness.textContent = Math.floor(100 * (1 - distance) + 1e-9) + " %";
        elements.differences.textContent = texts.join("; ") || "matches the plan";
      } else {
        elements.likeness.textContent = "–";
        elements.differences.textContent = "not comparable";
      }
    }

    function render() {
      const count = Math.min(limit, rows.length);
      for (let i = 0; i < count; i++) {
        if (!rowElements[i]) rowElements.push(createRow());
        fillRow(rowElements[i], rows[i]);
        if (!rowElements[i].tr.isConnected) body.append(rowElements[i].tr);
      }
      for (let i = count; i < rowElements.length && rowElements[i].tr.isConnected; i++) rowElements[i].tr.remove();
      const remaining = rows.length - count;
      moreButton.hidden = remaining <= 0;
      moreButton.textContent = remaining > MORE_ROWS ? `Show ${MORE_ROWS} more of ${remaining}` : `Show ${remaining} more`;
      emptyNote.hidden = rows.length > 0;
      scroller.hidden = rows.length === 0;
    }

    return {
      node,
      columns,
      /**
       * Show these rows in this order.
       * @param {{system: string, sort: string, picks: number[], plan: Object|null, distances: Float64Array|null}} newView
       * @param {boolean} reset whether to go back to the first rows
       */
      show(newRows, newView, reset) {
        rows = newRows;
        view = newView;
        if (reset) limit = FIRST_ROWS;
        emptyNote.textContent = NO_BUILDS + (view.emptyHint || "");
        tableNode.classList.toggle("mb-finder-planned", Boolean(view.plan));
        const descending = view.sort.startsWith("-") || view.sort === "like";
        const sortSlug = view.sort.replace(/^-/, "");
        for (const [slug, { th, arrow, unit }] of headings) {
          th.setAttribute("aria-sort", slug !== sortSlug ? "none" : descending ? "descending" : "ascending");
          arrow.textContent = slug !== sortSlug ? "" : descending ? "↓" : "↑";
          const field = archive.bySlug[slug];
          unit.textContent = field && field.kind === "number" ? core.unitOf(field, view.system).label : "";
        }
        render();
      },
    };
  }

  globalThis.millbook = Object.assign(globalThis.millbook || {}, { table: { table } });
})();
