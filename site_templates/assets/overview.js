// The charts page: every build as a point, with the axes, the color and the filter that the reader chooses. The state
// is in the address, in the finder's form, so that the finder opens with the same filter.
(function () {
  "use strict";

  const { core, charts } = globalThis.millbook;
  const { el, SYSTEM_NAMES } = globalThis.millbook.form;
  const FILTERS = ["family", "purpose", "fuel", "induction", "cycle"];

  // Between two steps of the start the browser can paint and respond.
  const nextTask = () => new Promise((resolve) => setTimeout(resolve));

  async function start(host, data) {
    const archive = core.decode(data);
    archive.system = charts.chosenUnits(archive.system);
    const linkTo = (row) => host.dataset.link.replace("{slug}", encodeURIComponent(archive.slugs[row]));
    // The pairs of fields that the page offers at a click, as "y/x y/x"; the first is shown at first.
    const pairs = host.dataset.pairs.split(" ").filter(Boolean).map((pair) => pair.split("/"))
      .filter((pair) => pair.every((slug) => archive.values[slug]));
    const state = {};
    let width = host.clientWidth, plot = null, rows = [];

    function readAddress() {
      const address = location.hash.length > 1 ? location.hash : location.search;
      const named = new URLSearchParams(address.replace(/^[#?]/, ""));
      const given = core.readState(archive, address);
      if (pairs.length && !named.has("x") && !named.has("y")) [given.y, given.x] = pairs[0];
      for (const key of Object.keys(state)) delete state[key];
      Object.assign(state, given);
    }
    readAddress();

    function address() {
      const parameters = new URLSearchParams(core.writeState(archive, state));
      for (const name of ["x", "y"]) parameters.set(name, state[name]);
      parameters.set("u", state.system);
      return parameters.toString().replace(/%7C/g, "|");
    }

    await nextTask();

    // ---- controls --------------------------------------------------------------------------------------

    const numberFields = archive.fields.filter((field) => field.kind === "number" && field.known);
    const labelled = (text, control) => el("label", {}, el("span", { text }), control);
    const axisSelect = (name) => el("select", { onchange: (event) => {
      state[name] = event.target.value;
      show("axes");
    } }, ...numberFields.map((field) => el("option", { value: field.slug, text: field.title })));
    const axes = { y: axisSelect("y"), x: axisSelect("x") };
    const color = charts.colorSelect(archive, state, () => show("axes"));
    const units = el("select", { onchange: () => {
      setUnits(units.value);
      show("axes");
    } }, ...Object.entries(SYSTEM_NAMES).map(([value, text]) => el("option", { value, text })));
    const filters = FILTERS.filter((slug) => (archive.choices[slug] || []).length > 1).map((slug) => {
      const select = el("select", { onchange: () => {
        if (select.value) state.choices[slug] = [select.value];
        else delete state.choices[slug];
        show("filter");
      } });
      return { slug, select, node: labelled(archive.bySlug[slug].title, select) };
    });
    const resetButton = el("button", { type: "button", class: "mb-finder-button", text: "Reset", onclick: () => {
      state.choices = {};
      state.ranges = {};
      state.words = "";
      show("filter");
    } });
    const pairButtons = pairs.map(([y, x]) => {
      const [up, across] = [y, x].map((slug) => archive.bySlug[slug].title);
      const button = el("button", { type: "button", class: "mb-finder-button", text: `${up} vs. ${core.inSentence(across)}`, onclick: () => {
        [state.y, state.x] = [y, x];
        show("axes");
      } });
      return { y, x, button };
    });
    const plotContainer = el("div", { class: "mb-finder-plot" });
    const pointText = el("p", { class: "mb-finder-point" });
    const countText = el("p", { class: "mb-finder-quiet", role: "status" });
    const finderLink = el("a", {});
    const tableBody = el("tbody", {}), tableHead = el("tr", {});
    const table = el("details", { class: "mb-finder-points", ontoggle: () => showTable() },
      el("summary", {}, el("h2", { text: "Table" })),
      el("div", { class: "mb-finder-scroll", role: "region", tabindex: "0", "aria-label": "Values of the chart" },
        el("table", { class: "mb-finder-table mb-finder-compared" }, el("thead", {}, tableHead), tableBody)));

    function setUnits(system) {
      const convert = (slug, text) => core.convertTyped(archive.bySlug[slug], text, state.system, system);
      for (const [slug, texts] of Object.entries(state.ranges)) state.ranges[slug] = texts.map((text) => convert(slug, text));
      state.system = system;
      charts.chooseUnits(system);
    }

    function fillFilters() {
      for (const { slug, select } of filters) {
        const chosen = state.choices[slug] || [];
        const several = chosen.length > 1 ? [el("option", { value: "several", text: chosen.join(", ") })] : [];
        select.replaceChildren(el("option", { value: "", text: "Any" }), ...several,
          ...archive.choices[slug].map((value) => el("option", { value, text: value })));
        select.value = several.length ? "several" : chosen[0] || "";
      }
    }

    // What the finder filtered by and this page has no control for.
    function otherFilters() {
      const texts = Object.entries(state.ranges).filter(([, [min, max]]) => min || max).map(([slug, [min, max]]) => {
        const field = archive.bySlug[slug];
        const range = min && max ? `${min} to ${max}` : min ? `from ${min}` : `up to ${max}`;
        return `${field.title} ${range} ${core.unitOf(field, state.system).label}`.trim();
      });
      for (const [slug, labels] of Object.entries(state.choices)) {
        if (!filters.some((filter) => filter.slug === slug)) texts.push(`${archive.bySlug[slug].title}: ${labels.join(", ")}`);
      }
      if (state.words.trim()) texts.push(`“${state.words.trim()}”`);
      return texts;
    }

    // ---- chart and table -------------------------------------------------------------------------------

    function show(change) {
      axes.x.value = state.x;
      axes.y.value = state.y;
      color.select.value = state.color;
      units.value = state.system;
      for (const { y, x, button } of pairButtons) button.setAttribute("aria-pressed", String(y === state.y && x === state.x));
      fillFilters();
      rows = Array.from(core.filterRows(archive, core.filterFromState(archive, state).filter));
      if (change !== "filter" || !plot) {
        plot = charts.scatter(plotContainer, archive, {
          x: state.x, y: state.y, color: state.color, system: state.system, width: host.clientWidth,
          onPoint(row) {
            const [up, across] = [state.y, state.x].map((slug) =>
              `${archive.bySlug[slug].title} ${core.formatValue(archive.bySlug[slug], archive.values[slug][row], state.system)}`);
            const group = state.color && core.valueOf(archive, state.color, row);
            pointText.replaceChildren(el("a", { href: linkTo(row), text: archive.titles[row] }),
              `: ${[up, across, group].filter(Boolean).join(", ")}`);
          },
          onOpen(row) {
            location.href = linkTo(row);
          },
        });
      }
      const count = plot.update(rows, []);
      pointText.textContent = count ? "Point at a build, or use the arrow keys. Click to open it." : "";
      const others = otherFilters();
      countText.textContent = `${count} of ${archive.size} builds` + (others.length ? `. Also filtered by ${others.join("; ")}` : "");
      resetButton.disabled = !others.length && !Object.keys(state.choices).length;
      finderLink.textContent = rows.length === 1 ? "Open this build in the finder" : `Open these ${rows.length} builds in the finder`;
      finderLink.href = host.dataset.finder + "#" + address();
      if (change !== "start") history.replaceState(null, "", "#" + address());
      showTable();
    }

    function showTable() {
      if (!table.open) return;
      const columns = [state.y, state.x].map((slug) => archive.bySlug[slug]);
      const title = (field) => field.title + (core.unitOf(field, state.system).label ? ", " + core.unitOf(field, state.system).label : "");
      const group = state.color ? archive.bySlug[state.color] : null;
      tableHead.replaceChildren(...["Build", ...columns.map(title), ...(group ? [group.title] : [])].map((text, i) =>
        el("th", { scope: "col", class: i === 1 || i === 2 ? "mb-finder-n" : null, text })));
      const shown = rows.filter((row) => columns.every(({ slug }) => !Number.isNaN(archive.values[slug][row])));
      tableBody.replaceChildren(...core.sortRows(archive, shown, state.x, false).map((row) => el("tr", {},
        el("th", { scope: "row" }, el("a", { href: linkTo(row), text: archive.titles[row] })),
        ...columns.map((field) => el("td", { class: "mb-finder-n", text: core.formatNumber(field, archive.values[field.slug][row], state.system) })),
        ...(group ? [el("td", { text: core.valueOf(archive, group.slug, row) || "not recorded" })] : []))));
    }

    addEventListener("hashchange", () => {
      readAddress();
      show("axes");
    });
    addEventListener("resize", () => {
      if (Math.abs(host.clientWidth - width) < 8) return;
      width = host.clientWidth;
      show("axes");
    });
    await nextTask();
    show("start");
    host.replaceChildren(el("div", { class: "mb-finder-stack" },
      el("div", { class: "mb-finder-row" }, ...pairButtons.map(({ button }) => button)),
      el("div", { class: "mb-finder-axes" }, labelled("Y axis", axes.y), labelled("X axis", axes.x), color.node, labelled("Units", units)),
      el("div", { class: "mb-finder-axes", role: "group", "aria-label": "Filters" }, ...filters.map(({ node }) => node), resetButton),
      el("div", {}, countText, plotContainer, pointText), el("p", {}, finderLink), table));
    host.dataset.ready = "yes";
  }

  const host = document.querySelector("[data-mb-charts]");
  if (host) {
    if (globalThis.millbookFinderData) nextTask().then(() => start(host, globalThis.millbookFinderData));
    else host.textContent = "The archive's data file is missing beside this page. Publish the archive again.";
  }
})();
