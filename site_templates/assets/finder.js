// The finder page. Its state is stored in the address; each change of the state filters, sorts and shows the builds.
(function () {
  "use strict";

  const { core, similarity, charts } = globalThis.millbook;
  const { el, form } = globalThis.millbook.form;

  // Between two steps of the start the browser can paint and respond.
  const nextTask = () => new Promise((resolve) => setTimeout(resolve));

  async function start(host, data) {
    const archive = core.decode(data);
    archive.system = charts.chosenUnits(archive.system);
    const linkTo = (row) => (host.dataset.link || "builds/{slug}.html").replace("{slug}", encodeURIComponent(archive.slugs[row]));
    const state = core.emptyState(archive);
    const setState = (newState) => {
      for (const key of Object.keys(state)) delete state[key];
      Object.assign(state, newState);
    };
    setState(core.readState(archive, location.hash.length > 1 ? location.hash : location.search));

    let rows = [], plan = null, distances = null, plot = null;
    let writtenHash = "";
    const rowOf = new Map(archive.slugs.map((slug, row) => [slug, row]));
    const picks = () => state.pick.map((slug) => rowOf.get(slug));

    // ---- elements --------------------------------------------------------------------------------------

    let width = host.clientWidth;
    await nextTask();
    const searchForm = form(archive, state, onFormChange, width >= 800);
    await nextTask();
    const countText = el("p", { class: "mb-finder-count" });
    const statusText = el("p", { class: "mb-finder-hidden", role: "status" });
    const askedText = el("p", { class: "mb-finder-asked" });
    const estimateSection = el("section", { class: "mb-finder-expected", "aria-label": "Estimated output", hidden: true });
    const curvesSection = el("section", { class: "mb-finder-chosen", "aria-label": "Power and torque overlay", hidden: true });
    const plotContainer = el("div", { class: "mb-finder-plot" });
    const pointText = el("p", { class: "mb-finder-point" });
    const numberFields = archive.fields.filter((field) => field.kind === "number" && field.known);
    const axisSelect = (name, label) => {
      const options = numberFields.map((field) => el("option", { value: field.slug, text: field.title }));
      const select = el("select", { onchange: () => {
        state[name] = select.value;
        drawScatter();
        writeAddress();
      } }, ...options);
      return { select, node: el("label", {}, el("span", { text: label }), select) };
    };
    const axes = { y: axisSelect("y", "Y axis"), x: axisSelect("x", "X axis") };
    const colorSelect = charts.colorSelect(archive, state, () => {
      drawScatter();
      writeAddress();
    });
    const scatterSection = el("details", { class: "mb-finder-points", open: true },
      el("summary", {}, el("h2", { text: "Chart" })),
      el("div", { class: "mb-finder-axes" }, axes.y.node, axes.x.node, colorSelect.node), plotContainer, pointText);
    scatterSection.addEventListener("toggle", () => scatterSection.open && drawScatter());
    const table = globalThis.millbook.table.table(archive, { sort: sortBy, pick, link: linkTo });
    const sortSelect = el("select", { onchange: () => {
      state.sort = sortSelect.value;
      update("sort");
    } });
    const engineCount = new Set(archive.engines).size;
    const showSelect = el("select", { onchange: () => {
      state.show = showSelect.value;
      update("filter");
    } }, el("option", { value: "builds", text: "Builds" }), el("option", { value: "engines", text: "Engines (latest build)" }));
    const showLabel = engineCount < archive.size ? el("label", {}, el("span", { text: "Show" }), showSelect) : null;
    const tools = el("div", { class: "mb-finder-tools" }, showLabel, el("label", {}, el("span", { text: "Sort by" }), sortSelect),
      el("button", { type: "button", class: "mb-finder-button", text: "Export CSV", onclick: saveCsv }),
      el("button", { type: "button", class: "mb-finder-button", text: "Print", onclick: () => print() }));
    fillSortSelect();
    countText.textContent = `${archive.size} of ${archive.size} builds`;
    await nextTask();
    host.replaceChildren(el("div", { class: "mb-finder-body" }, searchForm.node,
      el("div", { class: "mb-finder-found" }, el("div", { class: "mb-finder-top" }, countText, tools), askedText, statusText,
        estimateSection, curvesSection, scatterSection, table.node)));

    // ---- changes of the state --------------------------------------------------------------------------

    function onFormChange(change, system) {
      if (change === "units") {
        const convert = (slug, text) => core.convertTyped(archive.bySlug[slug], text, state.system, system);
        for (const [slug, texts] of Object.entries(state.ranges)) {
          state.ranges[slug] = texts.map((text) => convert(slug, text));
        }
        for (const [slug, text] of Object.entries(state.plan)) {
          if (archive.bySlug[slug].kind === "number") state.plan[slug] = convert(slug, text);
        }
        state.system = system;
        charts.chooseUnits(system);
        searchForm.createFields();
      } else if (change === "clear") {
        setState({ ...core.emptyState(archive), system: state.system });
        searchForm.createFields();
      } else if (change === "plan" && !plan) state.sort = "";
      update(change);
    }

    function sortOrder() {
      return state.sort && (plan || state.sort !== "like") ? state.sort : plan ? "like" : "-date";
    }

    // Sort by a column; again, in the other direction. Numbers start with the largest.
    function sortBy(slug) {
      const largestFirst = slug in archive.values || slug === "date";
      const first = largestFirst ? "-" + slug : slug;
      const second = largestFirst ? slug : "-" + slug;
      state.sort = slug === "like" ? "like" : sortOrder() === first ? second : first;
      update("sort");
    }

    function pick(row, picked) {
      const slug = archive.slugs[row];
      if (picked && state.pick.length >= core.MAX_PICKS) {
        announce("Four builds at most. Remove one first.");
        return false;
      }
      state.pick = picked ? [...state.pick, slug] : state.pick.filter((other) => other !== slug);
      drawCurves();
      if (plot) plot.update(rows, picks());
      writeAddress();
      announce(picked ? `${archive.titles[row]} is drawn.` : `${archive.titles[row]} removed.`);
      return picked;
    }

    let chartTimer = 0;

    // Show everything that depends on a change: "filter", "sort", "plan", "units", "clear" or "start".
    function update(change) {
      const narrowed = change === "filter" || change === "sort";
      const parsedFilter = core.filterFromState(archive, state);
      const parsedPlan = core.planFromState(archive, state);
      plan = Object.keys(parsedPlan.plan).length ? parsedPlan.plan : null;
      if (plan && (!narrowed || !distances)) distances = similarity.distances(archive, plan);
      if (!plan) distances = null;
      rows = core.filterRows(archive, parsedFilter.filter);
      const byEngine = state.show === "engines";
      if (byEngine) rows = core.latestOfEngines(archive, rows);
      showSelect.value = state.show;
      const sort = sortOrder();
      rows = sort === "like"
        ? Array.from(rows).sort((a, b) => (distances[a] === distances[b] ? 0 : distances[a] - distances[b]) || a - b)
        : core.sortRows(archive, rows, sort.replace(/^-/, ""), sort.startsWith("-"));
      searchForm.show(parsedFilter.invalid, parsedPlan.invalid);
      showTable(true);
      const all = byEngine ? engineCount : archive.size;
      const total = ` of ${all} ${byEngine ? "engine" : "build"}${all === 1 ? "" : "s"}`;
      countText.replaceChildren(el("strong", { text: String(rows.length) }), total);
      askedText.textContent = core.askedText(archive, state, rows.length);
      announce(`${rows.length}${total}`);
      fillSortSelect();
      if (change === "units" || change === "start" || change === "clear") {
        // The table is painted before the charts are drawn.
        clearTimeout(chartTimer);
        chartTimer = setTimeout(() => {
          drawScatter();
          drawCurves();
        }, change === "start" ? 30 : 0);
      } else if (plot && scatterSection.open) plot.update(rows, picks());
      if (!narrowed) startEstimate();
      writeAddress();
    }

    function showTable(reset) {
      const emptyHint = rows.length ? "" : wordsHint();
      table.show(rows, { system: state.system, sort: sortOrder(), picks: picks(), plan, distances, emptyHint }, reset);
    }

    // Where no build has all of the words, say which one to leave out.
    function wordsHint() {
      const found = core.withoutOneWord(archive, core.filterFromState(archive, state).filter);
      if (!found.length) return "";
      return " " + found.map(({ word, count }) => `Without \u201c${word}\u201d: ${count}.`).join(" ");
    }

    // Tell screen readers, half a second after the last change, so that a message does not interrupt typing.
    let statusTimer = 0;
    function announce(text) {
      clearTimeout(statusTimer);
      statusTimer = setTimeout(() => {
        statusText.textContent = text;
      }, 500);
    }

    function fillSortSelect() {
      const options = [["-date", "Newest first"], ["date", "Oldest first"], ["title", "Name"]];
      if (plan) options.unshift(["like", "Best match first"]);
      for (const slug of table.columns) {
        const field = archive.bySlug[slug];
        if (field && field.kind === "number") {
          options.push(["-" + slug, `${field.title}, high to low`], [slug, `${field.title}, low to high`]);
        }
      }
      const sort = sortOrder();
      if (!options.some(([value]) => value === sort)) {
        const field = archive.bySlug[sort.replace(/^-/, "")] || { title: "Name" };
        options.push([sort, field.title + (sort.startsWith("-") ? ", reversed" : "")]);
      }
      const values = options.map(([value]) => value).join();
      if (sortSelect.dataset.values !== values) {
        sortSelect.replaceChildren(...options.map(([value, text]) => el("option", { value, text })));
        sortSelect.dataset.values = values;
      }
      sortSelect.value = sort;
    }

    // ---- charts ----------------------------------------------------------------------------------------

    function drawScatter() {
      axes.x.select.value = state.x;
      axes.y.select.value = state.y;
      colorSelect.select.value = state.color;
      if (!scatterSection.open) return;
      plot = charts.scatter(plotContainer, archive, {
        x: state.x, y: state.y, color: state.color, system: state.system, width: scatterSection.clientWidth,
        onPoint(row) {
          const texts = [state.y, state.x].map((slug) =>
            core.formatValue(archive.bySlug[slug], archive.values[slug][row], state.system));
          pointText.replaceChildren(el("a", { href: linkTo(row), text: archive.titles[row] }), `, ${texts.join(" at ")}`);
          announce(pointText.textContent);
        },
        onOpen(row) {
          location.href = linkTo(row);
        },
      });
      const count = plot.update(rows, picks());
      pointText.textContent = count
        ? "Faded = filtered out. Hover for details." : "";
    }

    function drawCurves() {
      const picked = picks();
      curvesSection.hidden = !picked.length;
      if (!picked.length) return;
      const list = el("ul", { class: "mb-finder-picks" }, ...picked.map((row, index) => {
        const title = archive.titles[row];
        const removeButton = el("button", { type: "button", class: "mb-finder-button", text: "Remove",
          "aria-label": "Remove " + title, onclick: () => {
            pick(row, false);
            showTable(false);
          } });
        return el("li", {}, charts.legendSample(index), el("a", { href: linkTo(row), text: title }), removeButton);
      }));
      const perLitreBox = el("input", { type: "checkbox", onchange: () => {
        state.curves = perLitreBox.checked ? "litre" : "whole";
        drawCurves();
        writeAddress();
      } });
      perLitreBox.checked = state.curves === "litre";
      const chartPair = el("div", { class: "mb-finder-pair" });
      const compareLink = host.dataset.compare && picked.length > 1
        ? el("a", { href: host.dataset.compare + "?with=" + state.pick.map(encodeURIComponent).join(","),
          text: "Compare side by side" })
        : null;
      curvesSection.replaceChildren(el("h2", { text: "Power and torque overlay" }), list,
        el("p", { class: "mb-finder-row" }, el("label", {}, perLitreBox, el("span", { text: "per liter" })), compareLink), chartPair);
      charts.curvePair(chartPair, archive, picked, {
        system: state.system, perLitre: perLitreBox.checked, width: curvesSection.clientWidth,
      });
    }

    // ---- estimate --------------------------------------------------------------------------------------

    // Estimate in tasks of 12 ms, so that typing stays responsive.
    let estimateTimer = 0;
    function startEstimate() {
      clearTimeout(estimateTimer);
      estimateSection.hidden = !plan;
      if (!plan) return;
      const steps = similarity.estimateSteps(archive, plan, state.system);
      const runSteps = () => {
        const deadline = performance.now() + 12;
        let step;
        do step = steps.next(); while (!step.done && performance.now() < deadline);
        if (step.done) showEstimate(step.value);
        else estimateTimer = setTimeout(runSteps, 0);
      };
      estimateSection.setAttribute("aria-busy", "true");
      estimateTimer = setTimeout(runSteps, 150);
    }

    function showEstimate({ expected, reasons, notes }) {
      estimateSection.setAttribute("aria-busy", "false");
      const heading = el("h2", { text: "Estimated output" });
      if (!expected.length) {
        estimateSection.replaceChildren(heading, el("p", { text: "No estimate: " + [...reasons, ...notes].join("; ") + "." }));
        return;
      }
      const { system } = state;
      const results = expected.map((result) => {
        const { field } = result;
        const [value, min, max] = [result.value, result.min, result.max].map((number) => core.formatNumber(field, number, system));
        const near = result.matchesEvaluated ? `; for the closest, ${result.matchesCovered} of ${result.matchesEvaluated}` : "";
        return el("div", {}, el("dt", { text: field.title }),
          el("dd", {}, value + " ", el("span", { text: core.unitOf(field, system).label }),
            el("small", { text: `${min} to ${max}` }),
            el("small", { text: `range was right for ${result.covered} of ${result.evaluated} known builds${near}` }),
            el("small", { text: `median error ${(100 * result.error).toFixed(0)} %` })));
      });
      const level = Math.min(...expected.map((result) => result.level));
      const leftOut = expected.every((result) => result.leftOut === "families") ? "every build out with its whole family" :
        expected.every((result) => result.leftOut === "builds") ? "every build out in turn" :
        "every build out in turn, where enough remained with its whole family,";
      const explanation = `An adjustment is how builds with more or less of it differed, with all that goes with it: ` +
        `not what changing that alone would give. The ranges aim to cover ${Math.floor(100 * level)} % of engines; each ` +
        `was checked by leaving ${leftOut} and estimating it from the rest. An estimate is no promise: the dyno decides.`;
      const working = expected.map((result) =>
        el("li", { text: `${result.field.title}: ${similarity.workingText(result, system)}` }));
      const outside = notes.length ? el("p", { text: core.sentence(notes.join("; ")) }) : null;
      estimateSection.replaceChildren(...[heading, outside, el("dl", {}, ...results), el("ul", { class: "mb-finder-quiet" }, ...working),
        el("p", { class: "mb-finder-quiet" }, explanation + " ", el("a", { href: "methods.html#estimate", text: "How we estimate" })),
      ].filter(Boolean));
    }

    // ---- address and CSV -------------------------------------------------------------------------------

    let addressTimer = 0;
    function writeAddress() {
      clearTimeout(addressTimer);
      addressTimer = setTimeout(() => {
        writtenHash = core.writeState(archive, state);
        if (location.hash.slice(1) !== writtenHash) history.replaceState(null, "", "#" + writtenHash);
      }, 200);
    }

    function saveCsv() {
      const slugs = ["title", "number", ...table.columns.flatMap((slug) =>
        ({ peak_torque: [slug, "peak_torque_speed"], peak_power: [slug, "peak_power_speed"] })[slug] || [slug])];
      const known = slugs.filter((slug) => !archive.bySlug[slug] || archive.bySlug[slug].known);
      const text = core.toCsv(archive, rows, known, state.system, plan ? similarityColumns() : []);
      const blob = new Blob(["\ufeff" + text], { type: "text/csv" });
      const link = el("a", { href: URL.createObjectURL(blob), download: "builds.csv" });
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
      announce(`${rows.length} builds exported.`);
    }

    function similarityColumns() {
      const whereComparable = (value) => (row) => (Number.isFinite(distances[row]) ? value(row) : null);
      return [
        { title: "Match [%]", value: whereComparable((row) => Math.round(1000 * (1 - distances[row])) / 10) },
        { title: "Main differences", value: whereComparable((row) => similarity.differences(archive, plan, row)
          .map((difference) => similarity.differenceText(difference, state.system)).join("; ")) },
      ];
    }

    addEventListener("hashchange", () => {
      if (location.hash.slice(1) === writtenHash) return;
      setState(core.readState(archive, location.hash));
      searchForm.createFields();
      update("start");
    });
    addEventListener("resize", () => {
      if (Math.abs(host.clientWidth - width) < 8) return;
      width = host.clientWidth;
      drawScatter();
      drawCurves();
    });
    await nextTask();
    update("start");
    host.dataset.ready = "yes";
  }

  const host = document.querySelector("[data-mb-finder]");
  if (host) {
    if (globalThis.millbookFinderData) start(host, globalThis.millbookFinderData);
    else host.textContent = "The finder's data file is missing. Publish the archive again.";
  }
})();
