// The compare page: the builds named in the address (?with=a,b), their curves over each other, and what differs.
(function () {
  "use strict";

  const { core, charts } = globalThis.millbook;
  const { el, SYSTEM_NAMES } = globalThis.millbook.form;

  const nextTask = () => new Promise((resolve) => setTimeout(resolve));

  function start(host, data) {
    const archive = core.decode(data);
    archive.system = charts.chosenUnits(archive.system);
    const rowOf = new Map(archive.slugs.map((slug, row) => [slug, row]));
    const linkTo = (row) => (host.dataset.link || "builds/{slug}.html").replace("{slug}", encodeURIComponent(archive.slugs[row]));
    let system = archive.system, perLitre = false;
    let width = host.clientWidth;

    // Read the rows of the builds named in the address, and how many names are unknown.
    function readAddress() {
      const query = new URLSearchParams(location.search), fragment = new URLSearchParams(location.hash.slice(1));
      const names = (query.get("with") || fragment.get("with") || "").split(",").map((name) => name.trim()).filter(Boolean);
      const slugs = [...new Set(names)];
      const known = slugs.filter((slug) => rowOf.has(slug));
      return { rows: known.slice(0, core.MAX_PICKS).map((slug) => rowOf.get(slug)), unknown: slugs.length - known.length };
    }

    const fill = (...children) => host.replaceChildren(el("div", { class: "mb-finder-stack" }, ...children));

    // Draw the charts and, in a task of its own, insert everything, so that nothing moves.
    async function show() {
      const { rows, unknown } = readAddress();
      const picks = rows.length ? "#pick=" + rows.map((row) => archive.slugs[row]).join(",") : "";
      const finderLink = el("a", { href: (host.dataset.finder || "finder.html") + picks, text: "Choose builds in the finder" });
      const note = unknown ? el("p", { class: "mb-finder-wrong", text: unknown === 1
        ? "One build in the link was not found."
        : `${unknown} builds in the link were not found.` }) : null;
      if (rows.length < 2) {
        const help = "Tick two to four builds in the finder, then follow its link to this page.";
        fill(...[note].filter(Boolean), el("p", { text: help }), el("p", {}, finderLink));
        return;
      }
      const legend = el("ul", { class: "mb-finder-picks" }, ...rows.map((row, index) =>
        el("li", {}, charts.legendSample(index), el("a", { href: linkTo(row), text: archive.titles[row] }))));
      const chartPair = el("div", { class: "mb-finder-pair" });
      const drawCurves = () => charts.curvePair(chartPair, archive, rows, { system, perLitre, width });
      const perLitreBox = el("input", { type: "checkbox", onchange: () => {
        perLitre = perLitreBox.checked;
        drawCurves();
      } });
      perLitreBox.checked = perLitre;
      const radios = ["inch", "metric"].map((name) => {
        const radio = el("input", { type: "radio", name: "mb-finder-units", value: name, onchange: () => {
          system = name;
          charts.chooseUnits(name);
          show().then(() => host.querySelector(`input[value=${name}]`).focus());
        } });
        radio.checked = name === system;
        return el("label", {}, radio, el("span", { text: SYSTEM_NAMES[name] }));
      });
      drawCurves();
      await nextTask();
      fill(...[note].filter(Boolean), legend,
        el("div", { class: "mb-finder-row" },
          el("fieldset", { class: "mb-finder-units" }, el("legend", { text: "Units" }), ...radios),
          el("label", {}, perLitreBox, el("span", { text: "per liter" })), finderLink),
        chartPair, ...differences(rows));
    }

    function differences(rows) {
      const { different, identical } = core.compareBuilds(archive, rows, system);
      const nodes = [el("h2", { text: "Differences" })];
      if (different.length) nodes.push(differencesTable(rows, different));
      else nodes.push(el("p", { text: "No recorded differences." }));
      const titles = identical.map(core.inSentence).join(", ");
      if (titles) nodes.push(el("p", { class: "mb-finder-quiet", text: `Identical: ${titles}.` }));
      return nodes;
    }

    function differencesTable(rows, different) {
      const head = el("tr", {}, el("th", { scope: "col", text: "Field" }),
        ...rows.map((row, index) => el("th", { scope: "col" }, `${"ABCD"[index]} `, el("span", { text: archive.titles[row] }))));
      const body = el("tbody", {}, ...different.map(({ title, values }) =>
        el("tr", {}, el("th", { scope: "row", text: title }), ...values.map((text) => el("td", { text })))));
      const table = el("table", { class: "mb-finder-table mb-finder-compared" },
        el("caption", { class: "mb-finder-hidden", text: "Differences between the builds" }), el("thead", {}, head), body);
      return el("div", { class: "mb-finder-scroll", role: "region", tabindex: "0",
        "aria-label": "Differences; scrolls sideways" }, table);
    }

    addEventListener("hashchange", show);
    addEventListener("resize", () => {
      if (Math.abs(host.clientWidth - width) < 8) return;
      width = host.clientWidth;
      show();
    });
    // In a task of its own, so that the browser can paint and respond first.
    nextTask().then(show).then(() => {
      host.dataset.ready = "yes";
    });
  }

  const host = document.querySelector("[data-mb-compare]");
  if (host) {
    if (globalThis.millbookFinderData) start(host, globalThis.millbookFinderData);
    else host.textContent = "The finder's data file is missing. Publish the archive again.";
  }
})();
